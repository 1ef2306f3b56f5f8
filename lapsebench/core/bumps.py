"""Finds bumped frames: detail that stands still is elsewhere, or smeared, in one to three frames, and back after them.

First the tiles tell where something may have happened; then registered pictures (`Match`) decide. A shift that lasts is
another camera position (`shots.moved_frames`), and stars that turn are where the middle between both sides awaits them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.chunks import by_frames

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.intp]

LONGEST = 3
"""Frames that one bump may last; a longer one is a camera position of its own."""
_DARK = 0.001  # linear light added before the logarithm, so that noise in the dark is no detail
_LEAST_SHIFT = 0.0022  # of the picture's longer side
_AGREE = 0.0012  # of the longer side, or a quarter of the shift: blocks closer to the common shift agree with it
_BACKED = 0.5  # share of the still detail that has to agree
_LEAST_BLOCKS = 4
_BETTER = 0.03  # by which detail is more alike at the shift than in place
_ALIKE = 0.5
_SMEARED = 0.55  # of the fine detail left


@dataclass(frozen=True, slots=True)
class Match:
    """How k blocks of still detail lie in a frame against those before and after it.

    `shift`: (k, 2) down and right, share of the picture's longer side, off the middle of where both have it. `alike`: (k,)
    correlation there, and `in_place` without the shift. `energy`: (k,), how much detail. `sharp`: (k,) fine detail left,
    1 as in the frames around.
    """

    shift: Floats
    alike: Floats
    in_place: Floats
    energy: Floats
    sharp: Floats

    @classmethod
    def none(cls) -> Match:
        """Return the match of a picture in which nothing stands still."""
        return cls(np.zeros((0, 2)), *np.zeros((4, 0)))


def is_bumped(match: Match) -> bool:
    """Whether the frame's detail as a whole lies elsewhere than on both sides, or is smeared; False where not decidable."""
    found = match.alike > _ALIKE
    if np.count_nonzero(found) < _LEAST_BLOCKS or match.energy[found].sum() < _BACKED * match.energy.sum():
        return False
    shift, weight = match.shift[found], match.energy[found]
    common = np.array([_weighted_median(shift[:, c], weight) for c in (0, 1)])
    off = np.hypot(*(shift - common).T)
    agree = off < max(_AGREE, float(np.hypot(*common)) / 4)
    if weight[agree].sum() < _BACKED * match.energy.sum() or np.count_nonzero(agree) < _LEAST_BLOCKS:
        return False
    if np.hypot(*common) > _LEAST_SHIFT:
        better = (match.alike - match.in_place)[found][agree]
        return _weighted_median(better, weight[agree]) > _BETTER
    return _weighted_median(match.sharp[found], weight) < _SMEARED


def _weighted_median(values: Floats, weights: Floats) -> float:
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(total, total[-1] / 2)])
