"""Splits the night into shots: runs of frames with one camera position."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from functools import lru_cache
from itertools import pairwise
from statistics import median

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from lapsebench.core.bumps import LONGEST
from lapsebench.core.chunks import by_frames
from lapsebench.core.sequence import Fault, Frame, Shot

LONG_BREAK = timedelta(minutes=30)
MOVED = "the camera was moved"
_DETAIL_TILES = 4.0  # detail is what is finer than this
_DARK = 0.001  # linear light added before the logarithm, so that noise in the dark is no detail
_ALIKE, _UNLIKE, _DROP = 0.75, 0.6, 0.75
_BACK = 0.1  # by which it is at least more alike once it is back


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


def moved_frames(light: NDArray[np.float32], usable: NDArray[np.bool_]) -> list[int]:
    """Return the frames from which on the picture's fine detail is another one: the camera was aimed anew before them.

    `light`: (n, rows, cols) tile luminance. `usable`: (n,) frames to go by. Detail must agree well among the frames on
    either side and badly across, so that a lively sky without ground is no move; and it must not be back within a few
    frames, as after a bump.
    """
    frames = np.flatnonzero(usable)
    if frames.size < 6:
        return []
    step = 1 + LONGEST
    sample = np.append(np.arange(0, frames.size - 1, step), frames.size - 1)  # some of every stay that is no bump
    some = by_frames(_detail, light[frames[sample]])
    changed = sample[:-1][np.einsum("ij,ij->i", some[1:], some[:-1]) < _ALIKE]
    if changed.size == 0:
        return []
    near = np.unique((changed[:, None] + np.arange(-2 * step, 4 * step)).clip(0, frames.size - 1))  # all that is looked at
    detail = np.zeros((frames.size, some.shape[1]), np.float32)
    detail[near] = by_frames(_detail, light[frames[near]])
    alike = np.einsum("ij,ij->i", detail[1:], detail[:-1])
    places = np.unique((changed[:, None] + np.arange(step)).clip(2, frames.size - 4))
    unlike = places[alike[places] < _UNLIKE]
    return [int(frames[k + 1]) for k in unlike.tolist() if _is_move(detail, alike, k)]


def _detail(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the fine detail of frames (n, rows, cols) as unit vectors, (n, rows * cols)."""
    tiles = np.log(np.maximum(np.nan_to_num(light), 0.0) + np.float32(_DARK))
    down, right = (_smoother(size) for size in light.shape[1:])
    detail = (tiles - down @ (tiles @ right.T)).reshape(light.shape[0], -1)
    detail -= detail.mean(axis=1, keepdims=True)
    detail /= np.maximum(np.linalg.norm(detail, axis=1, keepdims=True), 1e-6)
    return np.asarray(detail, np.float32)


@lru_cache(maxsize=4)
def _smoother(size: int) -> NDArray[np.float32]:
    """Return the matrix (size, size) that smooths a column over `_DETAIL_TILES`: several times faster than filtering."""
    return np.asarray(gaussian_filter1d(np.eye(size), _DETAIL_TILES, axis=0), np.float32)


def _is_move(detail: NDArray[np.float32], alike: NDArray[np.float32], k: int) -> bool:
    """Return whether the detail changes for good between the usable frames k and k + 1."""
    sides = float(np.median(np.concatenate([alike[max(0, k - 3) : k], alike[k + 1 : k + 4]])))
    across = float(np.median(detail[k - 2 : k + 1] @ detail[k + 1 : k + 4].T))
    move = sides > _ALIKE and max(alike[k], across) < min(_UNLIKE, _DROP * sides)
    return move and not _is_back(detail, k, across=min(float(alike[k]), across), usual=sides)


def _is_back(detail: NDArray[np.float32], k: int, *, across: float, usual: float) -> bool:
    """Whether the detail, so little alike `across` k | k + 1, is the old one just beyond the longest bump to either side.

    It need only be as much alike as frames of one side so far apart are: the sky moves on. `usual`: alike as neighbours.
    """
    last = detail.shape[0] - 1
    for near, far, other in (
        (detail[k - 2 : k + 1], k + 1 + LONGEST, k - 3 - LONGEST),
        (detail[k + 1 : k + 4], k - LONGEST, k + 4 + LONGEST),
    ):
        if 0 <= far <= last:
            same_side = float(np.median(near @ detail[other])) if 0 <= other <= last else usual
            if float(np.median(near @ detail[far])) > max((same_side + across) / 2, across + _BACK):
                return True
    return False


def split_shot(shot: Shot, starts: Sequence[int], why: str) -> tuple[Shot, ...]:
    """Return `shot` cut before each of the frames `starts`, its in and out points kept where they lie.

    Each part is measured by the same area; a horizon drawn by hand stays with the first, for the camera was moved.
    """
    edges = [shot.first, *starts, shot.last + 1]
    parts = []
    for place, (first, after) in enumerate(pairwise(edges)):
        last = after - 1
        trim_in, trim_out = max(first, shot.trim_in), min(last, shot.trim_out)
        outside = trim_in > trim_out
        part = replace(
            shot,
            first=first,
            last=last,
            why=why if place else shot.why,
            trim_in=first if outside else trim_in,
            trim_out=last if outside else trim_out,
            in_film=shot.in_film and not outside,
            area=replace(shot.area, horizon=()) if place else shot.area,
        )
        parts.append(part)
    return tuple(parts)
