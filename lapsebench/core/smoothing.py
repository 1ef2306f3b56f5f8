"""The penalised smoother of second differences, one banded solve for thousands of frames.

Whittaker 1923, Henderson 1924; with second differences it equals the filter of Hodrick & Prescott (1997).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solveh_banded

Floats = NDArray[np.float64]


def whittaker(values: Floats, lam: float, *, weights: Floats | None = None) -> Floats:
    """Return z that minimises sum w (y - z)^2 + lam * sum (second difference of z)^2.

    `values`: shape (n,), any unit; non-finite values count as missing. `weights`: (n,), default 1. `lam` up to about 1e12.
    A straight line passes unchanged. Where all is missing: NaN.
    """
    y = np.asarray(values, dtype=float)
    w = np.ones_like(y) if weights is None else np.asarray(weights, dtype=float)
    known = np.isfinite(y) & (w > 0)
    if not known.any():
        return np.full_like(y, np.nan)
    if y.size < 3 or np.count_nonzero(known) < 2:
        return np.where(known, y, np.average(y[known], weights=w[known]))
    w, y = np.where(known, w, 0.0), np.where(known, y, 0.0)
    banded = _penalty_bands(y.size, lam)
    banded[2] += w
    solved: Floats = solveh_banded(banded, w * y, check_finite=False)
    return solved


def _penalty_bands(n: int, lam: float) -> Floats:
    """Return lam * D' D in upper banded form, shape (3, n)."""
    p = np.full(n - 2, lam)
    bands = np.zeros((3, n))
    bands[2, : n - 2] += p
    bands[2, 1 : n - 1] += 4 * p
    bands[2, 2:] += p
    bands[1, 1 : n - 1] += -2 * p
    bands[1, 2:] += -2 * p
    bands[0, 2:] += p
    return bands


def lambda_for_period(frames: float) -> float:
    """Return lam whose gain is one half at a sine period of `frames`: H = 1 / (1 + 4 lam (1 - cos w)^2)."""
    w = 2 * np.pi / max(frames, 2.0)
    return float(1.0 / (4.0 * (1.0 - np.cos(w)) ** 2))
