"""A first look at frames by the small pictures that cameras put into their files, before any is measured."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from lapsebench.core.metering import FrameMeasure
from lapsebench.core.progress import Tick
from lapsebench.core.sequence import Frame
from lapsebench.core.transfer import srgb_table
from lapsebench.imaging.proxy import measure_frame
from lapsebench.io.embedded import embedded_preview

_WORKERS = 2
_TRIED = 8  # frames
_WORTH_S = 0.04  # a frame: what takes longer is no first look
_AT_ONCE = 64


def first_look(frames: Sequence[Frame], seen: Callable[[int, FrameMeasure], None], tick: Tick) -> None:
    """Call `seen(i, measure)` with the rough measure of every frame that has a small picture; errors are for later.

    Given up where the first ones take too long. `tick(0, n)` is called in between and may raise `Cancelled`.
    """
    with ThreadPoolExecutor(_WORKERS, thread_name_prefix="look") as pool:
        first = 0
        while first < len(frames):
            tick(0, len(frames))
            part = range(first, min(first + (_AT_ONCE if first else _TRIED), len(frames)))
            start = time.perf_counter()
            for i, measure in zip(part, pool.map(lambda k: _looked_at(frames[k]), part), strict=True):
                if measure is not None:
                    seen(i, measure)
            if not first and time.perf_counter() - start > _WORTH_S * len(part):
                return
            first = part.stop


def _looked_at(frame: Frame) -> FrameMeasure | None:
    codes = embedded_preview(frame.path) if frame.readable and frame.part is None else None
    return None if codes is None else measure_frame(np.asarray(codes), srgb_table(256)[codes], srgb=True)
