"""Bumped frames of a shot: the tiles say where to look, the small pictures decide."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.bumps import is_bumped
from lapsebench.core.chunks import WORKERS
from lapsebench.core.metering import FrameMeasure
from lapsebench.core.sequence import Shot
from lapsebench.imaging.register import detail_of_jpeg, match

Bools = NDArray[np.bool_]
_KEPT = 16  # pictures' details kept at hand


def bumped_frames(
    shot: Shot, measures: Sequence[FrameMeasure | None], usable: Bools, places: Sequence[tuple[int, int, int, int]]
) -> Bools:
    """Return which frames of `shot` were bumped, (n,); `measures` are the project's, `usable` (n,) the frames to go by.

    `places`: the `core.bumps.suspects` among those. Frames without detail that stands still can't be told and count as not
    bumped.
    """
    bumped = np.zeros(usable.size, bool)

    @lru_cache(maxsize=_KEPT)
    def detail(k: int) -> NDArray[np.float32] | None:
        measure = measures[shot.first + k]
        return None if measure is None else detail_of_jpeg(measure.proxy)

    def look(run: tuple[int, int, int, int]) -> list[int]:
        first, *within, last = (k for k in range(run[0], run[3] + 1) if usable[k])
        before, after = detail(first), detail(last)
        if before is None or after is None or before.shape != after.shape:
            return []
        found = []
        for k in within:
            between = detail(k)
            if between is not None and between.shape == before.shape and is_bumped(match(before, between, after)):
                found.append(k)
        return found if len(found) == len(within) else []

    with ThreadPoolExecutor(WORKERS) as pool:
        for found in pool.map(look, places):
            bumped[found] = True
    return bumped
