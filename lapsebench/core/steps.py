"""Finds jumps of the camera that the metadata don't tell, and settings the pixels don't follow."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.pairwise import Pairs

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_LEAST_EV = 0.18  # well over flicker, well under the one-third stop of a click
_LEAST_AGAINST_MARKS_EV = 0.28
_OVER_USUAL_JUMP = 5.0  # in a break-up all tiles jump from frame to frame: known marks are believed there
_LEAST_SHARE = 0.2
_LEAST_OF_USUAL_SHARE = 0.7  # a jump of the sky breaks the agreement of the tiles, one of the camera does not


@dataclass(frozen=True, slots=True)
class Step:
    """A lasting jump of `jump_ev` stops that starts at `frame`; `before` is the last good frame before it."""

    frame: int
    before: int
    jump_ev: float


def find_steps(path: Floats, pairs: Pairs, changed: Bools, *, trusted: Bools) -> tuple[Step, ...]:
    """Return the lasting jumps of `path` (n,) stops, NaN where unknown, that no scene makes.

    `path` is the path of gains less the marks. A jump counts when it stands out from the differences around it, stays, and
    most tiles of the pair moved alike. Where the marks are `trusted` (known) it must be larger, more so without a
    setting change (`changed`) and where the path jumps about anyway.
    """
    frames = np.flatnonzero(np.isfinite(path))
    if frames.size < 4:
        return ()
    level = path[frames]
    share = _neighbour_share(pairs, path.size)
    agree = share >= np.maximum(_LEAST_SHARE, _LEAST_OF_USUAL_SHARE * _usual(share, frames))
    jumps, around = _jumps(level)
    usual = _usual_jump(jumps)
    found = []
    for k, (jump, background) in enumerate(zip(jumps, around, strict=True)):
        before, frame = int(frames[k]), int(frames[k + 1])
        least = _LEAST_EV
        if trusted[before] and trusted[frame]:
            against_marks = _LEAST_AGAINST_MARKS_EV * (1.0 if changed[frame] else 1.25)
            least = max(against_marks, _OVER_USUAL_JUMP * usual[k])
        if abs(jump - background) > least and agree[frame] and _stays(level, k, jump - background):
            found.append(Step(frame, before, float(jump - background)))
    return tuple(found)


def _jumps(level: Floats) -> tuple[Floats, Floats]:
    """Return each difference of `level` and the median of the three before and after it."""
    jumps = np.diff(level)
    padded = np.pad(jumps, 3, mode="reflect") if jumps.size > 3 else np.pad(jumps, 3, mode="edge")
    around = np.stack([padded[i : i + jumps.size] for i in (0, 1, 2, 4, 5, 6)])
    return jumps, np.median(around, axis=0)


def _usual_jump(jumps: Floats) -> Floats:
    """Return the robust sd (1.48 times the median absolute deviation) of the jumps up to eight frames away, same shape."""
    usual = np.empty_like(jumps)
    for k in range(jumps.size):
        near = jumps[max(0, k - 8) : k + 9]
        usual[k] = 1.4826 * np.median(np.abs(near - np.median(near)))
    return usual


def _stays(level: Floats, k: int, jump: float) -> bool:
    """Return whether the level after difference `k` stays at least 60 % of `jump` away from the level before it."""
    before, after = level[max(0, k - 2) : k + 1], level[k + 1 : k + 4]
    lasting = float(np.median(after) - np.median(before))
    return lasting * (1 if jump > 0 else -1) > 0.6 * abs(jump)


def _usual(share: Floats, frames: NDArray[np.intp]) -> Floats:
    """Return the median share of the four good frames on either side, shape (n,); 0 elsewhere."""
    usual = np.zeros(share.size)
    padded = np.pad(share[frames], 4, mode="edge")
    usual[frames] = np.median(np.lib.stride_tricks.sliding_window_view(padded, 9), axis=1)
    return usual


def _neighbour_share(pairs: Pairs, n: int) -> Floats:
    """Return the agreeing share of the pair that joins each frame to the good frame before it, shape (n,)."""
    share = np.zeros(n)
    nearest = np.full(n, n)
    for first, second, value in zip(pairs.first, pairs.second, pairs.share, strict=True):
        if second - first < nearest[second]:
            nearest[second], share[second] = second - first, value
    return share
