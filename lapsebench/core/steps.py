"""Finds jumps of the camera that the metadata don't tell, and settings the pixels don't follow."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from lapsebench.core.pairwise import Pairs

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.intp]

_LEAST_EV = 0.18  # well over flicker, well under the one-third stop of a click
_LEAST_AGAINST_MARKS_EV = 0.28
_OVER_USUAL_JUMP = 5.0  # in a break-up all tiles jump from frame to frame: known marks are believed there
_LEAST_SHARE = 0.2
_LEAST_OF_USUAL_SHARE = 0.7  # a jump of the sky breaks the agreement of the tiles, one of the camera does not
_OVER_SPOILT = 2.0  # across spoilt frames what is followed may be lost and found anew: known marks are believed more
_LEAST_DIRECT_SD = 5.0  # a jump in the directly observed exposure must be this many of its standard errors


@dataclass(frozen=True, slots=True)
class Step:
    """A lasting jump of `jump_ev` stops that starts at `frame`; `before` is the last good frame before it."""

    frame: int
    before: int
    jump_ev: float


def find_steps(
    path: Floats,
    pairs: Pairs,
    changed: Bools,
    *,
    trusted: Bools,
    direct: Floats | None = None,
    direct_sd: Floats | None = None,
    direct_step_sd: Floats | None = None,
) -> tuple[Step, ...]:
    """Return the lasting jumps of `path` (n,) stops, NaN where unknown, that no scene makes.

    `path` is the path of gains less the marks. A jump counts when it stands out from the differences around it, stays, and
    most tiles of the pair moved alike. Where the marks are `trusted` (known) it must be larger, more so without a
    setting change (`changed`) and where the path jumps about anyway. Where the scene is observed directly (`direct`, (n,)
    stops up to a constant, NaN unknown, with standard error `direct_sd`) on both sides, path less direct decides instead;
    `direct_step_sd` (n,) is what a jump to each frame may be off by besides.
    """
    frames = np.flatnonzero(np.isfinite(path))
    if frames.size < 4:
        return ()
    level = path[frames]
    share = _neighbour_share(pairs, path.size)
    agree = (share >= np.maximum(_LEAST_SHARE, _LEAST_OF_USUAL_SHARE * _usual(share, frames)))[frames[1:]]
    level_jumps, around = _jumps(level)
    against_marks = np.where(changed[frames[1:]], _LEAST_AGAINST_MARKS_EV, 1.25 * _LEAST_AGAINST_MARKS_EV)
    sure = trusted[frames[:-1]] & trusted[frames[1:]]
    least = np.where(sure, np.maximum(against_marks, _OVER_USUAL_JUMP * _usual_jump(level_jumps)), _LEAST_EV)
    lasting = level_jumps - around
    found = (np.abs(lasting) > least) & agree & _stays(level, lasting)
    if direct is not None and direct_sd is not None:
        seen, jumps, error = _direct_jumps(level - direct[frames], direct_sd[frames])
        if direct_step_sd is not None:
            error = np.hypot(error, direct_step_sd[frames[1:]])
        over = np.diff(frames) > 1  # spoilt frames, over which the sky may do much
        against_marks = against_marks * np.where(over, _OVER_SPOILT, 1.0)
        least = np.maximum(np.where(sure, against_marks, _LEAST_EV), _LEAST_DIRECT_SD * error)
        found = np.where(seen, (np.abs(jumps) > least) & (over | _followed(lasting, jumps, _usual_jump(level_jumps))), found)
        lasting = np.where(seen, jumps, lasting)
    return tuple(Step(int(frames[k + 1]), int(frames[k]), float(lasting[k])) for k in np.flatnonzero(found))


def _followed(tiles: Floats, stars: Floats, usual: Floats) -> Bools:
    """Return where a jump of the stars is the camera's: the tiles jump that way too, or the sky jumps about anyway.

    Else a cloud went over the stars. `usual`: what the tiles usually jump by around there.
    """
    return np.asarray((tiles * np.sign(stars) > 0.4 * np.abs(stars)) | (usual > 0.2 * np.abs(stars)))


def _jumps(level: Floats) -> tuple[Floats, Floats]:
    """Return each difference of `level` and the median of the three before and after it."""
    jumps = np.diff(level)
    padded = np.pad(jumps, 3, mode="reflect") if jumps.size > 3 else np.pad(jumps, 3, mode="edge")
    around = np.stack([padded[i : i + jumps.size] for i in (0, 1, 2, 4, 5, 6)])
    return jumps, np.median(around, axis=0)


def _direct_jumps(received: Floats, sd: Floats) -> tuple[Bools, Floats, Floats]:
    """Return where both sides of each difference of `received` (m,) are known, the lasting jumps there, and their error.

    All (m - 1,); a jump that does not stay counts as 0.
    """
    known = np.flatnonzero(np.isfinite(received) & np.isfinite(sd))
    seen, jumps, error = np.zeros(received.size - 1, bool), np.zeros(received.size - 1), np.zeros(received.size - 1)
    if known.size < 2:
        return seen, jumps, error
    beside = np.diff(known) == 1
    at = known[:-1][beside]
    change = np.diff(received[known])
    seen[at] = True
    jumps[at] = np.where(_stays(received[known], change), change, 0.0)[beside]
    error[at] = np.hypot(sd[at], sd[at + 1])
    return seen, jumps, error


def _usual_jump(jumps: Floats) -> Floats:
    """Return the robust sd (1.48 times the median absolute deviation) of the jumps up to eight frames away, same shape."""
    near = _windows(jumps, 8, 8)
    usual: Floats = 1.4826 * np.nanmedian(np.abs(near - np.nanmedian(near, axis=1, keepdims=True)), axis=1)
    return usual


def _stays(level: Floats, jumps: Floats) -> Bools:
    """Return whether the level after each difference stays at least 60 % of `jumps` away from the level before it."""
    before, after = _windows(level, 2, 0)[:-1], _windows(level, 0, 2)[1:]
    lasting = np.nanmedian(after, axis=1) - np.nanmedian(before, axis=1)
    stays: Bools = lasting * np.sign(jumps) > 0.6 * np.abs(jumps)
    return stays


def _windows(values: Floats, back: int, ahead: int) -> Floats:
    """Return the values from `back` places before each one to `ahead` after it, (m, back + ahead + 1), NaN past the ends."""
    padded = np.pad(values, (back, ahead), constant_values=np.nan)
    windows: Floats = sliding_window_view(padded, back + ahead + 1)
    return windows


def _usual(share: Floats, frames: Ints) -> Floats:
    """Return the median share of the four good frames on either side, shape (n,); 0 elsewhere."""
    usual = np.zeros(share.size)
    padded = np.pad(share[frames], 4, mode="edge")
    usual[frames] = np.median(sliding_window_view(padded, 9), axis=1)
    return usual


def _neighbour_share(pairs: Pairs, n: int) -> Floats:
    """Return the agreeing share of the pair that joins each frame to the good frame before it, shape (n,)."""
    share = np.zeros(n)
    far_to_near = np.argsort(pairs.first - pairs.second, kind="stable")
    share[pairs.second[far_to_near]] = pairs.share[far_to_near]
    return share
