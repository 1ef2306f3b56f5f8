"""Colour drift: what the camera's white balance did to R and B against G, told apart from what the sky did.

A white balance multiplies a channel of every tile alike and leaves the tiles' green as it is. A sky that changes colour
changes its light too, here more and there less: where green changes as much as the colour, or the tiles' green unevenly,
nobody can tell the two apart, and the jump is left. Slow changes of colour are the sky's, but for those amid many jumps.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from lapsebench.core.gainpath import solve_path
from lapsebench.core.pairwise import LAGS, Pairs, pair_gains
from lapsebench.core.transfer import BT709_WEIGHTS

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Float32s = NDArray[np.float32]

_TILES = 600  # that are enough
_FEW = 3  # of those, every so many-th is looked at first
_MAY_JUMP = 0.025  # stops that those few have to jump by somewhere for a closer look
_LEAST_JUMP = 0.045  # stops; calm made and real nights reach 0.04
_OVER_UNEVEN = 2.5  # times; break-ups reach 1.3, curves that are not sRGB reach 2.0 at setting changes
_OVER_LIGHT = 1.25  # times; break-ups reach 0.7
_REACH = 12  # differences looked at on either side
_WANDERING = 3  # jumps within reach from which on small differences are the camera's too
_CALM = 3.0  # times as uneven as at those jumps the light may change amid them
_LEAST_QUIET = 4  # differences that tell the sky's own slope


def colour_drift(log_tiles: Float32s, weights: Float32s, marks_ev: Floats) -> Floats:
    """Return the stops of R, G and B, (n, 3), that take the camera's own changes of colour out; 0 where there are none.

    `log_tiles`, `weights`: (n, 3 k), k tiles of R, then G, then B: log2 light, and 0 where a tile is clipped, in the noise,
    or its frame is spoilt. `marks_ev`: (n,) camera exposure, stops, NaN unknown. The stops leave the luminance (BT.709) of
    the shot's mean picture as it is. Frames without weight get those of the frame before.
    """
    n, k = log_tiles.shape[0], log_tiles.shape[1] // 3
    none = np.zeros((n, 3))
    step = max(k // _TILES // 2 * 2 + 1, 1)  # odd: no grid of an even number of columns is cut in stripes
    few = _Colours.of(log_tiles, weights, _FEW * step)
    if few.usable.size > 1 and np.abs(few.jumps(few.pairs())).max() < _MAY_JUMP:
        return none
    colours = _Colours.of(log_tiles, weights, step)
    usable, pairs = colours.usable, colours.pairs()
    if usable.size < 2:
        return none
    jumps = colours.jumps(pairs)
    scene = _Scene(np.ascontiguousarray(colours.rgb[1][usable]), colours.sure.min(axis=0), marks_ev[usable])
    taken = _taken(np.abs(jumps).max(axis=0), scene)
    if not taken.any():
        return none
    drift = np.zeros((n, 2))
    for c in range(2):
        path = solve_path(pair_gains(colours.tiles[c], colours.sure[c], lags=LAGS, known=pairs[c]), usable.size)
        drift[usable, c] = _summed(np.nan_to_num(np.diff(path)), taken)
    drift -= np.median(drift[usable], axis=0)
    before = np.searchsorted(usable, np.arange(n), side="right") - 1
    drift = drift[usable[np.maximum(before, 0)]]
    light = np.exp2(np.stack([channel[usable] for channel in colours.rgb])).mean(axis=2, dtype=float)
    share = light * BT709_WEIGHTS[:, None]
    return _neutral(-drift, (share / share.sum(axis=0)).mean(axis=1))


@dataclass(frozen=True, slots=True)
class _Colours:
    """Every so many-th tile: log light of R, G and B, (n, tiles) each; of the u `usable` frames R and B against G.

    `tiles`, `sure`: (2, u, tiles) stops and weights.
    """

    rgb: tuple[Float32s, ...]
    usable: NDArray[np.intp]
    tiles: Float32s
    sure: Float32s

    @classmethod
    def of(cls, log_tiles: Float32s, weights: Float32s, step: int) -> _Colours:
        """Return the colours of every `step`-th tile."""
        k = log_tiles.shape[1] // 3
        red, green, blue = (log_tiles[:, c * k : (c + 1) * k : step] for c in range(3))
        red_weight, green_weight, blue_weight = (weights[:, c * k : (c + 1) * k : step] for c in range(3))
        tiles, sure = np.stack([red - green, blue - green]), np.minimum([red_weight, blue_weight], green_weight)
        usable = np.flatnonzero((sure.sum(axis=2) > 1).all(axis=0))
        if usable.size < tiles.shape[1]:
            tiles, sure = np.ascontiguousarray(tiles[:, usable]), np.ascontiguousarray(sure[:, usable])
        return cls((red, green, blue), usable, tiles, sure)

    def pairs(self) -> list[Pairs]:
        """Return the gains of R and B against G between neighbouring frames."""
        return [pair_gains(tiles, sure, lags=(1,)) for tiles, sure in zip(self.tiles, self.sure, strict=True)]

    def jumps(self, pairs: Sequence[Pairs]) -> Floats:
        """Return those gains from each frame to the next, (2, u - 1) stops; 0 where none is told."""
        told = np.zeros((2, self.usable.size - 1))
        for channel, gains in zip(told, pairs, strict=True):
            channel[gains.first] = np.where(gains.share > 0, gains.gain_ev, 0.0)
        return told


def _taken(jumps: Floats, scene: _Scene) -> Bools:
    """Return which differences of colour are the camera's, (n - 1,): jumps over a calm scene, and all amid many of them."""
    taken = np.zeros(jumps.size, bool)
    large = np.flatnonzero(jumps > _LEAST_JUMP)
    changes = np.array([scene.changes(int(i)) for i in large]).reshape(-1, 2)
    taken[large] = (jumps[large, None] > changes * (_OVER_LIGHT, _OVER_UNEVEN)).all(axis=1)
    if taken.sum() < _WANDERING:
        return taken
    uneven = _CALM * np.median(changes[taken[large], 1])
    around = uniform_filter1d(taken.astype(float), 2 * _REACH + 1, mode="constant") * (2 * _REACH + 1)
    amid = np.flatnonzero((around > _WANDERING - 0.5) & ~taken)
    taken[amid] = [scene.changes(int(i))[1] <= uneven for i in amid]
    return taken


@dataclass(frozen=True, slots=True)
class _Scene:
    """Log light of green and weights of the tiles, (n, k), and the camera's exposure, (n,) stops, NaN unknown."""

    green: Float32s
    weights: Float32s
    marks_ev: Floats

    def changes(self, i: int) -> Floats:
        """Return what the scene changes by from frame i to the next: green less the marks, and its unevenness (1.48 MAD)."""
        weight = np.minimum(self.weights[i], self.weights[i + 1])
        seen = weight > 0
        if not seen.any():
            return np.full(2, np.inf)
        change, weight = (self.green[i + 1] - self.green[i])[seen], weight[seen]
        middle = _weighted_median(change, weight)
        marks = np.nan_to_num(self.marks_ev[i + 1] - self.marks_ev[i])
        return np.array([abs(middle - marks), 1.4826 * _weighted_median(np.abs(change - middle), weight)])


def _weighted_median(values: Float32s, weights: Float32s) -> float:
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    return float(values[order[np.searchsorted(total, total[-1] / 2)]])


def _summed(differences: Floats, taken: Bools) -> Floats:
    """Return the sum of the taken differences, (n,), less the slope of the quiet ones around, which is the sky's."""
    kept = np.zeros(taken.size)
    quiet = ~taken & (np.abs(differences) <= _LEAST_JUMP)
    for i in np.flatnonzero(taken):
        near = slice(max(i - _REACH, 0), i + _REACH + 1)
        slope = differences[near][quiet[near]]
        kept[i] = differences[i] - (np.median(slope) if slope.size >= _LEAST_QUIET else 0.0)
    return np.concatenate([[0.0], np.cumsum(kept)])


def _neutral(relative: Floats, share: Floats) -> Floats:
    """Return stops (n, 3) from those of R and B against G, (n, 2), that keep light; `share` (3,) of it is each channel's."""
    rgb = np.insert(relative, 1, 0.0, axis=1)
    return np.asarray(rgb - np.log2(np.exp2(rgb) @ share)[:, None])
