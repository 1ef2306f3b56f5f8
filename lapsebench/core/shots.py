"""Splits the night into shots: runs of frames with one camera position."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from itertools import pairwise
from statistics import median

from lapsebench.core.sequence import Fault, Frame, Shot

LONG_BREAK = timedelta(minutes=30)


def find_shots(frames: Sequence[Frame]) -> tuple[Shot, ...]:
    """Return the shots of `frames` in shooting order; each says why it starts."""
    if not frames:
        return ()
    starts = [(0, "start")]
    last = frames[0]
    for i, frame in enumerate(frames[1:], start=1):
        if frame.faults & {Fault.UNREADABLE, Fault.ODD_SIZE}:
            continue
        why = _reason(last, frame)
        if why:
            starts.append((i, why))
        last = frame
    ends = [first - 1 for first, _ in starts[1:]] + [len(frames) - 1]
    return tuple(Shot(first, end, why) for (first, why), end in zip(starts, ends, strict=True))


def _reason(before: Frame, frame: Frame) -> str:
    """Return why a new shot starts at `frame`, or nothing."""
    if not before.readable or before.faults & {Fault.ODD_SIZE}:
        return ""
    if (before.camera, before.serial) != (frame.camera, frame.serial) and before.camera and frame.camera:
        return "another camera"
    if (before.width, before.height) != (frame.width, frame.height):
        return "another picture size"
    if before.focal_mm and frame.focal_mm and abs(before.focal_mm / frame.focal_mm - 1) > 0.02:
        return "another focal length"
    pause = interval(before, frame)
    return "a long break" if pause is not None and pause > LONG_BREAK else ""


def interval(before: Frame, frame: Frame) -> timedelta | None:
    """Return the time from one frame's start to the next's; None where unknown."""
    if before.taken is None or frame.taken is None:
        return None
    if (before.taken.tzinfo is None) != (frame.taken.tzinfo is None):
        return None
    return frame.taken - before.taken


def gaps(frames: Sequence[Frame]) -> list[int]:
    """Return the frames before which time is missing: far more than the usual pause on top of the exposure."""
    pauses: dict[int, float] = {}
    for i, (before, frame) in enumerate(pairwise(frames), start=1):
        step = interval(before, frame)
        if step is not None and step.total_seconds() > 0:
            pauses[i] = step.total_seconds() - (before.exposure_s or 0.0)
    if len(pauses) < 3:
        return []
    usual = max(median(pauses.values()), 0.5)
    longest = {i: max(4 * usual, 2 * (frames[i - 1].exposure_s or 0.0), 10.0) for i in pauses}
    return [i for i, pause in pauses.items() if pause > longest[i]]
