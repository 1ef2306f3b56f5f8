"""Gain between neighbouring frames: what multiplied most tiles alike.

The camera multiplies every tile alike; aurora, clouds and headlamps do not. So the gain of a pair is the dominant mode of
the tiles' log ratios, not their mean. The mode is found on a kernel density and refined with Tukey's biweight
(Beaton & Tukey 1974). `gainpath` joins the pairs.
"""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from lapsebench.core.chunks import WORKERS, by_frames

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.intp]
Float32s = NDArray[np.float32]

LAGS = (1, 2, 5)
_BIN = 0.04  # stops a bin of the density
_REACH = 12.0  # stops either way
_KERNEL = 0.05  # stops, sd of the density's kernel
_CHUNK = 100_000  # ratios worked on at a time: fewer, and threads wait for each other; more, and they leave the cache
_SKIP = 3  # the density and the first rounds are of every third tile taken, where there are plenty
_PLENTY = 100
_ROUNDS_OF_FEW = 3
_NARROWEST, _WIDEST = 0.04, 0.25  # stops either way that the biweight reaches
_LEAST_TILES = 500
_HISTORY = 250  # pairs that tell how steady a tile is
_LEAST_HISTORY = 8
_HISTORY_ROUNDS = 2
_FAR_OFF = 0.1  # stops: farther off is no worse
_FLOOR = 0.09  # of the usual square: steadier tiles weigh no more
_PATCHES = 100.0  # tiles that count as independent: light changes in patches
_BUDGET = 5_000_000  # tiles of all frames together that are worth the time


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
    frame is spoilt. A spoilt frame (no weight at all) is stepped over. Pairs that are in `known` are taken from there. Tiles
    that keep step with the gain all night weigh more.
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
    if new.size == 0:
        return Pairs(first, second, *columns)
    roots = by_frames(np.sqrt, weights)
    roots *= np.sqrt(_steadiness(log_tiles, roots, usable))
    size = max(_CHUNK // max(log_tiles.shape[1], 1), 1)
    chunks = [new[i : i + size] for i in range(0, new.size, size)]
    with ThreadPoolExecutor(WORKERS) as pool:
        work = [pool.submit(_modes, log_tiles, roots, first[chunk], second[chunk]) for chunk in chunks]
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


def tiles_worth(n: int, k: int) -> slice:
    """Return which of k tiles, of three channels each, are worth the time in n frames: all, or every third, fifth..."""
    step = max(min(math.ceil(3 * n * k / _BUDGET) // 2 * 2 + 1, 3 * k // _LEAST_TILES), 1)
    return slice(None, None, step - 1 + step % 2)  # odd: no grid of an even number of columns is cut in stripes


def _steadiness(log_tiles: NDArray[np.float32], roots: NDArray[np.float32], usable: Ints) -> NDArray[np.float32]:
    """Return a weight 0..1 of each tile, (k,): the less, the further its changes between neighbours are off the gain.

    Ground and plain sky keep step with the camera; where the aurora passes, and what it lights, does not.
    """
    steady = np.ones(log_tiles.shape[1], np.float32)
    places = np.arange(0, usable.size - 1, max(usable.size // _HISTORY, 1))
    if places.size < _LEAST_HISTORY:
        return steady
    a, b = usable[places], usable[places + 1]
    ratios, weights = log_tiles[b] - log_tiles[a], roots[a] * roots[b]
    total = weights.sum(axis=0)
    seen = total > 1
    if not seen.any():
        return steady
    for _ in range(_HISTORY_ROUNDS):
        off = np.abs(ratios - _gains(ratios, weights * steady)[0].astype(np.float32)[:, None])
        square = np.einsum("ij,ij->j", weights, np.minimum(off, _FAR_OFF) ** 2) / np.maximum(total, 1e-6)
        steady = 1 / (square + _FLOOR * np.median(square[seen]) + np.float32(1e-12))
        steady = np.minimum(steady / steady[seen].max(), 1)
    return steady


def _modes(log_tiles: NDArray[np.float32], roots: NDArray[np.float32], a: Ints, b: Ints) -> Floats:
    """Return dominant mode, standard error and agreeing share of the pairs a -> b, shape (3, pairs), stops."""
    ratios = log_tiles[b]
    ratios -= log_tiles[a]
    weights = roots[a]
    weights *= roots[b]
    return _gains(ratios, weights)


def _gains(ratios: NDArray[np.float32], weights: NDArray[np.float32]) -> Floats:
    """Return what `_modes` does, of log ratios and weights (pairs, k)."""
    step = _SKIP if np.count_nonzero(weights) > _PLENTY * weights.shape[0] else 1
    few, few_weights = np.ascontiguousarray(ratios[:, ::step]), np.ascontiguousarray(weights[:, ::step])
    centre = _density_peak(few, few_weights)
    width = np.full(centre.size, _WIDEST, np.float32)
    centre, scale, _ = _refined(few, few_weights, centre, width, rounds=_ROUNDS_OF_FEW)
    width = np.clip(6 * scale, _NARROWEST, _WIDEST)
    centre, scale, mass = _refined(ratios, weights, centre, width, rounds=1)
    off = np.abs(ratios - centre[:, None])
    total = np.maximum(weights.sum(axis=1), 1e-9)
    agree = np.einsum("ij,ij->i", weights, np.less(off, 0.1, out=off)) / total
    error = np.sqrt(scale**2 / np.minimum(mass, _PATCHES) + 0.001**2) / np.maximum(agree, 0.02)
    none = total < 1e-3
    return np.where(none, np.array([[0.0], [1e3], [0.0]]), np.stack([centre, error, agree]).astype(float))


def _refined(
    ratios: Float32s, weights: Float32s, centre: Float32s, width: Float32s, *, rounds: int
) -> tuple[Float32s, Float32s, Float32s]:
    """Return the centres of Tukey's biweight after so many rounds, its scales and sums of weights, (pairs,) each."""
    off, square, near = np.empty_like(ratios), np.empty_like(ratios), np.empty_like(ratios)
    for _ in range(rounds):
        reach = width * width
        np.subtract(ratios, centre[:, None], out=off)
        np.multiply(off, off, out=square)
        np.subtract(reach[:, None], square, out=near)
        np.maximum(near, 0, out=near)
        near *= near
        near *= weights
        mass = np.maximum(near.sum(axis=1), 1e-9 * reach * reach)
        centre = centre + np.einsum("ij,ij->i", near, off) / mass
        scale = np.sqrt(np.einsum("ij,ij->i", near, square) / mass)
        width = np.clip(6 * scale, _NARROWEST, _WIDEST)
    return centre, scale, mass / (reach * reach)


def _density_peak(ratios: NDArray[np.float32], weights: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the place of the highest kernel density of each row, to one bin."""
    place = (ratios + np.float32(_REACH)) * np.float32(1 / _BIN)
    index = np.clip(place, 0, round(2 * _REACH / _BIN) - 1, out=place).astype(np.intp)
    lowest = int(index.min())
    bins = int(index.max()) - lowest + 1
    index += (np.arange(ratios.shape[0]) * bins - lowest)[:, None]
    counts = np.bincount(index.ravel(), weights=weights.ravel(), minlength=ratios.shape[0] * bins)
    density = gaussian_filter1d(counts.reshape(-1, bins), _KERNEL / _BIN, axis=1, mode="constant")
    peak: NDArray[np.float32] = ((density.argmax(axis=1) + lowest + 0.5) * _BIN - _REACH).astype(np.float32)
    return peak
