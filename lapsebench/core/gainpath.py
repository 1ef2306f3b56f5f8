"""Joins the gains of pairs at several lags into one path, by weighted least squares with a Cauchy loss."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from lapsebench.core.banded import Factor
from lapsebench.core.pairwise import Pairs

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


def solve_path(pairs: Pairs, n: int, *, rounds: int = 12) -> Floats:
    """Return the path M (n,), stops, whose differences best meet all pair gains; NaN for frames in no pair.

    M of the first usable frame is 0. Outlying pairs lose weight by a Cauchy loss.
    """
    path = np.full(n, np.nan)
    known = np.unique(np.concatenate([pairs.first, pairs.second]))
    if known.size == 0:
        return path
    place = np.full(n, -1)
    place[known] = np.arange(known.size)
    a, b = place[pairs.first], place[pairs.second]
    solved = np.zeros(known.size)
    base = 1.0 / pairs.spread_ev**2
    robust = np.ones_like(base)
    for _ in range(rounds):
        previous = solved
        solved = _solve_differences(a, b, pairs.gain_ev, base * robust, known.size)
        residual = (pairs.gain_ev - (solved[b] - solved[a])) / np.maximum(pairs.spread_ev, 0.005)
        robust = 1.0 / (1.0 + (residual / 2.5) ** 2)
        if np.abs(solved - previous).max(initial=0.0) < 1e-6:
            break
    path[known] = solved
    return path


def path_errors(pairs: Pairs, path: Floats) -> Floats:
    """Return the standard error of each frame's place in `path` (n,) against its neighbours, stops; NaN in no pair.

    That of one frame with the others held, from the pairs' errors, enlarged where the lags of the pairs around disagree.
    """
    errors = np.full(path.size, np.nan)
    if pairs.first.size == 0:
        return errors
    residual = (pairs.gain_ev - (path[pairs.second] - path[pairs.first])) / np.maximum(pairs.spread_ev, 0.005)
    robust = 1.0 / (1.0 + (residual / 2.5) ** 2)
    weight = robust / pairs.spread_ev**2

    def total(values: Floats) -> Floats:
        sums = np.bincount(pairs.first, values, path.size) + np.bincount(pairs.second, values, path.size)
        return np.asarray(sums, dtype=float)

    known = np.isfinite(path)
    odd = total(robust * (residual * np.maximum(pairs.spread_ev, 0.005) / pairs.spread_ev) ** 2)[known]
    count = total(robust)[known]
    around = uniform_filter1d(odd, 5, mode="constant") / uniform_filter1d(count, 5, mode="constant")
    errors[known] = np.sqrt(np.maximum(around, 1.0) / total(weight)[known])
    return errors


def _solve_differences(a: Ints, b: Ints, gain: Floats, weight: Floats, n: int) -> Floats:
    """Return x with x[0] = 0 that minimises sum w (x[b] - x[a] - gain)^2, for a < b."""
    lag = b - a
    reach = int(lag.max())
    bands, right = np.zeros((reach + 1, n)), np.zeros(n)
    np.subtract.at(bands, (lag, a), weight)
    bands[0, 0] += weight.max()
    for end, sign in ((a, -1.0), (b, 1.0)):
        np.add.at(bands[0], end, weight)
        np.add.at(right, end, sign * weight * gain)
    solved = Factor(bands).solve(right)
    return np.asarray(solved - solved[0])
