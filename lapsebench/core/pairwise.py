"""Gain between neighbouring frames: what multiplied most tiles alike, solved over several lags into one path.

The camera multiplies every tile alike; aurora, clouds and headlamps do not. So the gain of a pair is the dominant mode of
the tiles' log ratios, not their mean. The mode is found on a kernel density and refined with Tukey's biweight
(Beaton & Tukey 1974); the pairs are joined by weighted least squares with a Cauchy loss.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.sparse import csc_array
from scipy.sparse.linalg import splu

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.intp]

LAGS = (1, 2, 5)
_BIN = 0.02  # stops a bin of the density
_REACH = 12.0  # stops either way
_KERNEL = 0.05  # stops, sd of the density's kernel
_CHUNK = 256


@dataclass(frozen=True, slots=True)
class Pairs:
    """Gains between frames `first` and `second`, shape (p,).

    `gain_ev`: dominant mode of log2(second / first), stops. `spread_ev`: its standard error, stops. `share`: share 0..1 of
    the usable tiles that agree with it within 0.1 stop.
    """

    first: Ints
    second: Ints
    gain_ev: Floats
    spread_ev: Floats
    share: Floats


def pair_gains(log_tiles: NDArray[np.float32], weights: NDArray[np.float32], *, lags: tuple[int, ...] = LAGS) -> Pairs:
    """Return the gains of all pairs of usable frames at the given `lags` counted over usable frames.

    `log_tiles`: (n, k) log2 of tile luminance, stops. `weights`: (n, k), 0 where a tile is clipped, in the noise, or its
    frame is spoilt. A spoilt frame (no weight at all) is stepped over.
    """
    usable = np.flatnonzero(weights.any(axis=1))
    first = np.concatenate([usable[:-lag] for lag in lags if lag < usable.size] or [np.empty(0, np.intp)])
    second = np.concatenate([usable[lag:] for lag in lags if lag < usable.size] or [np.empty(0, np.intp)])
    results = [
        _modes(log_tiles[b] - log_tiles[a], np.sqrt(weights[a] * weights[b]))
        for a, b in zip(_chunks(first), _chunks(second), strict=True)
    ]
    gain, spread, share = (np.concatenate([r[i] for r in results] or [np.empty(0)]) for i in range(3))
    return Pairs(first, second, gain, spread, share)


def _chunks(values: Ints) -> list[Ints]:
    return [values[i : i + _CHUNK] for i in range(0, values.size, _CHUNK)]


def _modes(ratios: NDArray[np.float32], weights: NDArray[np.float32]) -> tuple[Floats, Floats, Floats]:
    """Return dominant mode, standard error and agreeing share of each row of `ratios` (p, k), stops."""
    centre = _density_peak(ratios, weights)
    total = np.maximum(weights.sum(axis=1), 1e-9)
    width = np.full(centre.size, 0.25)
    for _ in range(8):
        off = ratios - centre[:, None]
        inside = np.maximum(1.0 - (off / width[:, None]) ** 2, 0.0)
        near = weights * inside**2
        mass = np.maximum(near.sum(axis=1), 1e-9)
        centre = centre + (near * off).sum(axis=1) / mass
        scale = np.sqrt((near * off**2).sum(axis=1) / mass)
        width = np.clip(6.0 * scale, 0.04, 0.25)
    agree = (weights * (np.abs(ratios - centre[:, None]) < 0.1)).sum(axis=1) / total
    error = np.sqrt(scale**2 / np.maximum(mass, 1e-9) + 0.001**2) / np.maximum(agree, 0.02)
    none = weights.sum(axis=1) < 1e-3
    return np.where(none, 0.0, centre), np.where(none, 1e3, error), np.where(none, 0.0, agree)


def _density_peak(ratios: NDArray[np.float32], weights: NDArray[np.float32]) -> Floats:
    """Return the place of the highest kernel density of each row, to one bin."""
    bins = round(2 * _REACH / _BIN)
    index = np.clip(((ratios + _REACH) / _BIN).astype(np.intp), 0, bins - 1)
    rows = np.arange(ratios.shape[0])[:, None] * bins
    counts = np.bincount((index + rows).ravel(), weights=weights.ravel(), minlength=ratios.shape[0] * bins)
    density = gaussian_filter1d(counts.reshape(-1, bins), _KERNEL / _BIN, axis=1, mode="constant")
    peak: Floats = (density.argmax(axis=1) + 0.5) * _BIN - _REACH
    return peak


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


def _solve_differences(a: Ints, b: Ints, gain: Floats, weight: Floats, n: int) -> Floats:
    """Return x with x[0] = 0 that minimises sum w (x[b] - x[a] - gain)^2."""
    rows = np.concatenate([a, b, a, b, [0]])
    cols = np.concatenate([a, b, b, a, [0]])
    vals = np.concatenate([weight, weight, -weight, -weight, [weight.max()]])
    system = csc_array((vals, (rows, cols)), shape=(n, n))
    right = np.bincount(b, weights=weight * gain, minlength=n) - np.bincount(a, weights=weight * gain, minlength=n)
    solved: Floats = splu(system).solve(right)
    solved -= solved[0]
    return solved
