"""Gain between neighbouring frames: what multiplied most tiles alike, solved over several lags into one path.

The camera multiplies every tile alike; aurora, clouds and headlamps do not. So the gain of a pair is the dominant mode of
the tiles' log ratios, not their mean. The mode is found on a kernel density and refined with Tukey's biweight
(Beaton & Tukey 1974); the pairs are joined by weighted least squares with a Cauchy loss.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
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
_WORKERS = min(4, os.cpu_count() or 1)
_REACH = 12.0  # stops either way
_KERNEL = 0.05  # stops, sd of the density's kernel
_CHUNK = 32  # pairs worked on at a time: what fits the processor's cache
_ROUNDS = 6


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


def pair_gains(
    log_tiles: NDArray[np.float32],
    weights: NDArray[np.float32],
    *,
    lags: tuple[int, ...] = LAGS,
    known: Pairs | None = None,
) -> Pairs:
    """Return the gains of all pairs of usable frames at the given `lags` counted over usable frames.

    `log_tiles`: (n, k) log2 of tile luminance, stops. `weights`: (n, k), 0 where a tile is clipped, in the noise, or its
    frame is spoilt. A spoilt frame (no weight at all) is stepped over. Pairs that are in `known` are taken from there.
    """
    n = log_tiles.shape[0]
    usable = np.flatnonzero(weights.any(axis=1))
    first = np.concatenate([usable[:-lag] for lag in lags if lag < usable.size] or [np.empty(0, np.intp)])
    second = np.concatenate([usable[lag:] for lag in lags if lag < usable.size] or [np.empty(0, np.intp)])
    columns = np.zeros((3, first.size))
    place = _places(first * n + second, known, n)
    if known is not None:
        old = place >= 0
        for column, values in zip(columns, (known.gain_ev, known.spread_ev, known.share), strict=True):
            column[old] = values[place[old]]
    new = np.flatnonzero(place < 0)
    chunks = [new[i : i + _CHUNK] for i in range(0, new.size, _CHUNK)]
    with ThreadPoolExecutor(_WORKERS) as pool:
        work = [pool.submit(_modes, log_tiles, weights, first[chunk], second[chunk]) for chunk in chunks]
        for chunk, done in zip(chunks, work, strict=True):
            columns[:, chunk] = done.result()
    return Pairs(first, second, *columns)


def _places(keys: Ints, known: Pairs | None, n: int) -> Ints:
    """Return where each pair (first * n + second) stands in `known`, -1 where it does not."""
    places = np.full(keys.size, -1)
    if known is None or known.first.size == 0:
        return places
    known_keys = known.first * n + known.second
    order = np.argsort(known_keys)
    at = np.searchsorted(known_keys, keys, sorter=order).clip(max=known_keys.size - 1)
    found = known_keys[order[at]] == keys
    places[found] = order[at[found]]
    return places


def _modes(log_tiles: NDArray[np.float32], tile_weights: NDArray[np.float32], a: Ints, b: Ints) -> Floats:
    """Return dominant mode, standard error and agreeing share of the pairs a -> b, shape (3, pairs), stops."""
    ratios = log_tiles[b] - log_tiles[a]
    weights = np.sqrt(tile_weights[a] * tile_weights[b])
    centre = _density_peak(ratios, weights).astype(np.float32)
    total = np.maximum(weights.sum(axis=1), 1e-9)
    width = np.full(centre.size, 0.25, np.float32)
    for _ in range(_ROUNDS):
        off = ratios - centre[:, None]
        square = off * off
        near = np.maximum(1 - square / (width * width)[:, None], 0)
        near *= near
        near *= weights
        mass = np.maximum(near.sum(axis=1), 1e-9)
        centre = centre + np.einsum("ij,ij->i", near, off) / mass
        scale = np.sqrt(np.einsum("ij,ij->i", near, square) / mass)
        width = np.clip(6 * scale, 0.04, 0.25)
    agree = (weights * (np.abs(ratios - centre[:, None]) < 0.1)).sum(axis=1) / total
    error = np.sqrt(scale**2 / mass + 0.001**2) / np.maximum(agree, 0.02)
    none = total < 1e-3
    return np.where(none, np.array([[0.0], [1e3], [0.0]]), np.stack([centre, error, agree]).astype(float))


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
