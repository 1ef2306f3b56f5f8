"""Works through the frames of large arrays in pieces on a few threads: NumPy and SciPy let go of the lock in large sums."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
from numpy.typing import NDArray

WORKERS = min(4, os.cpu_count() or 1)
_FRAMES = 128  # at a time


def by_frames(work: Callable[..., NDArray[Any]], *arrays: NDArray[Any]) -> NDArray[Any]:
    """Return `work(*arrays)`, done on runs of rows; all arrays and the result have one row a frame."""
    count = arrays[0].shape[0]
    if count <= _FRAMES:
        return work(*arrays)
    first = work(*(values[:_FRAMES] for values in arrays))
    done = np.empty((count, *first.shape[1:]), first.dtype)
    done[:_FRAMES] = first

    def put(start: int) -> None:
        run = slice(start, start + _FRAMES)
        done[run] = work(*(values[run] for values in arrays))

    with ThreadPoolExecutor(WORKERS) as pool:
        list(pool.map(put, range(_FRAMES, count, _FRAMES)))
    return done
