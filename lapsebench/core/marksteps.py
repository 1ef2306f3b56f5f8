"""What the marks on the dial say of exposures: steps at setting changes, as far as shutter, dial and flicker let them.

No exposure is taken from them, for stars tell those far better; but a curve that is too steep in the dark makes all steps
too long, and stars that never see the same light twice can't tell that from a longer step.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csc_array, diags_array

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_FRAMES = 3  # on either side of a change
_BIAS_EV, _FLICKER_EV = 0.05, 0.06  # sd: of a setting, and of a frame
_LOSS = 2.0  # standard errors: marks may be wrong, as with automatic ISO


class MarkSteps:
    """Steps in natural log at the c setting changes of n frames: `steps` (c,), and which exposures tell them, (c, n)."""

    def __init__(self, marks_ev: Floats, seen: Bools) -> None:
        """Take the marks, (n,) stops, NaN unknown, of frames that are `seen`, (n,)."""
        frames = np.flatnonzero(np.isfinite(marks_ev) & seen)
        runs = np.split(frames, np.flatnonzero(np.diff(marks_ev[frames])) + 1) if frames.size else []
        changes = list(zip([run[-_FRAMES:] for run in runs[:-1]], [run[:_FRAMES] for run in runs[1:]], strict=True))
        rows = np.zeros((len(changes), marks_ev.size))
        for row, (before, after) in zip(rows, changes, strict=True):
            row[before], row[after] = -1 / before.size, 1 / after.size
        self.which = csc_array(rows)
        self.steps = rows @ np.nan_to_num(marks_ev) * np.log(2)
        self.sd = np.sqrt(2 * _BIAS_EV**2 + _FLICKER_EV**2 * (rows**2).sum(axis=1)) * np.log(2)

    def normal(self, exposure: Floats) -> tuple[csc_array, Floats]:
        """Return what they add to normal equations of `exposure`, (n,) natural log: (n, n), and (n,) on the right."""
        off = self.steps - self.which @ exposure
        weight = 1 / (self.sd**2 * (1 + (off / (_LOSS * self.sd)) ** 2))
        return csc_array(self.which.T @ diags_array(weight) @ self.which), np.asarray(self.which.T @ (weight * off))
