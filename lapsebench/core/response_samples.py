"""Tiles seen on either side of setting changes, from which the camera's response is found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.response import codes_of
from lapsebench.core.transfer import linear_to_srgb, srgb_to_linear

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]

FOOT = 10 / 255
"""Codes above black over which tiles come to count in full."""
_LAGS = (1, 2, 3)
_LEAST_CHANGE_EV = 0.2
_LEAST_CODE = 3 / 255
_LEAST_TILES = 20
_MOST_CHANGES = 40
_TILES_A_PAIR = 160
_USABLE, _BLACK_SHARE = 0.3, 0.01
_EVENLY = np.linspace(0.0, 1.0, _TILES_A_PAIR // 2)


@dataclass(frozen=True, slots=True)
class Samples:
    """m tiles of one channel, sorted by p pairs of two close frames; a setting change lies between the frames of a pair.

    `codes`: (m, 4) sRGB-scaled 0..1 in the frame before the pair, its first, its second and the frame after it; NaN where
    that frame has another setting. `weight`: (m,) 0..1. `pair`: (m,) numbers 0..p-1. `jump_ev`: (p,) stops at the marks.
    `change`: (p,) number of the setting change, the first if there are several, the same in all channels. `next_to`: (p,)
    bool, nothing lies between the frames.
    """

    codes: Floats
    weight: Floats
    pair: Ints
    jump_ev: Floats
    change: Ints
    next_to: Bools

    @property
    def changes(self) -> int:
        """Number of setting changes."""
        return int(np.unique(self.change).size)


def samples_of(parts: Sequence[Around], channel: int) -> Samples:
    """Return what the frames of several shots tell of a channel."""
    each = [part.samples(channel) for part in parts]
    pairs = np.cumsum([0, *(samples.jump_ev.size for samples in each)])
    changes = np.cumsum([0, *(part.runs for part in parts)])
    columns = {
        field.name: np.concatenate([getattr(samples, field.name) for samples in each])
        for field in fields(Samples)
        if field.name not in ("pair", "change")
    }
    pair = np.concatenate([samples.pair + first for samples, first in zip(each, pairs, strict=False)])
    change = np.concatenate([samples.change + first for samples, first in zip(each, changes, strict=False)])
    return Samples(**columns, pair=pair, change=change)


def frames_at_changes(exposure_ev: Floats, usable: Bools) -> Ints:
    """Return the frames around up to `_MOST_CHANGES` setting changes, in order: all that `Around` looks at.

    `exposure_ev`: (n,) stops at true marks, NaN unknown. `usable`: (n,) frames that are not spoilt.
    """
    frames = np.flatnonzero(usable & np.isfinite(exposure_ev))
    places = np.flatnonzero(np.abs(np.diff(exposure_ev[frames])) > _LEAST_CHANGE_EV)
    if places.size > _MOST_CHANGES:
        places = places[np.linspace(0, places.size - 1, _MOST_CHANGES).astype(np.intp)]
    reach = max(_LAGS)
    near = np.unique((places[:, None] + np.arange(-reach, reach + 2)).clip(0, max(frames.size - 1, 0)))
    return frames[near] if places.size else frames[:0]


class Around:
    """The tiles of n frames around a shot's setting changes.

    `light`: (c, n, k) tiles of c channels, decoded as sRGB; below 0 (a colour beyond BT.709) is black. `usable`: (c, n, k),
    0..1, 0 where clipped or spoilt. `exposure_ev`: (n,) stops at true marks, NaN unknown.
    """

    def __init__(self, light: NDArray[np.float32], usable: NDArray[np.float32], exposure_ev: Floats) -> None:
        frames = np.flatnonzero(usable.any(axis=(0, 2)) & np.isfinite(exposure_ev))
        self._light, self._usable = light[:, frames], usable[:, frames]
        self._ev = exposure_ev[frames]
        changed = np.abs(np.diff(self._ev)) > _LEAST_CHANGE_EV
        self._runs = np.concatenate([[0], np.cumsum(changed)]) if frames.size else np.empty(0, np.intp)
        self.black: Floats = np.array([_black_code(*channel) for channel in zip(light, usable, strict=True)])
        """The codes (0..1) under which hardly any tile of a channel goes, (c,): black as this camera records it."""

    @property
    def runs(self) -> int:
        """Number of runs of frames at one setting."""
        return int(self._runs.max(initial=-1)) + 1

    def samples(self, channel: int) -> Samples:
        """Return the tiles of a channel in pairs of close frames with a setting change in between."""
        ev, runs, codes = self._ev, self._runs, codes_of(self._light[channel])
        parts: list[tuple[Floats, Floats]] = []
        about: list[tuple[float, int, bool]] = []
        for lag in _LAGS:
            for i in np.flatnonzero(np.abs(ev[lag:] - ev[:-lag]) > _LEAST_CHANGE_EV).tolist() if ev.size > lag else ():
                around = (i - 1, i, i + lag, i + lag + 1)
                before = i > 0 and runs[i - 1] == runs[i]
                after = around[3] < ev.size and runs[around[3]] == runs[around[2]]
                good, weight = self._good(channel, codes, i, i + lag)
                if good.size < _LEAST_TILES:
                    continue
                seen = [
                    codes[at, good] if known else np.full(good.size, np.nan)
                    for at, known in zip(around, (before, True, True, after), strict=True)
                ]
                parts.append((np.stack(seen, axis=1), weight))
                about.append((float(ev[i + lag] - ev[i]), int(runs[i]), lag == 1))
        if not parts:
            nothing = np.empty(0, np.intp)
            return Samples(np.empty((0, 4)), np.empty(0), nothing, np.empty(0), nothing, np.empty(0, bool))
        pair = np.repeat(np.arange(len(parts)), [weight.size for _, weight in parts])
        jump, change, next_to = (np.array(column) for column in zip(*about, strict=True))
        all_seen, weights = (np.concatenate(column) for column in zip(*parts, strict=True))
        return Samples(all_seen, weights, pair, jump, change, next_to)

    def _good(self, channel: int, codes: Floats, first: int, second: int) -> tuple[Ints, Floats]:
        """Return the tiles to take from a pair of frames and their weights; few where there are few."""
        above_black = np.minimum(codes[first], codes[second]) - max(self.black[channel], _LEAST_CODE)
        usable = np.sqrt(self._usable[channel, first] * self._usable[channel, second])
        weight = usable * np.clip(above_black / FOOT, 0.0, 1.0)
        good = np.flatnonzero(weight > 0.05)
        if good.size >= _LEAST_TILES:
            good = _spread(codes[first, good] + codes[second, good], good)
        return good, weight[good].astype(float)


def _black_code(light: NDArray[np.float32], usable: NDArray[np.float32]) -> float:
    seen = light[usable > _USABLE]
    if not seen.size:
        return 0.0
    place = int(_BLACK_SHARE * (seen.size - 1))
    return float(linear_to_srgb(max(float(np.partition(seen, place)[place]), 0.0)))


def srgb_stops(codes: Floats) -> Floats:
    """Return stops of light of `codes` that follow sRGB, held at those of code 1 of 255 below it."""
    stops: Floats = np.log2(srgb_to_linear(np.maximum(codes, 1 / 255)))
    return stops


def _spread(codes: Floats, tiles: Ints) -> Ints:
    """Return up to `_TILES_A_PAIR` of the tiles, half of them evenly over their codes, half evenly over their ranks."""
    order = np.argsort(codes)
    if order.size <= _TILES_A_PAIR:
        return tiles[order]
    codes = codes[order]
    taken = np.zeros(order.size, bool)
    taken[np.searchsorted(codes, codes[0] + (codes[-1] - codes[0]) * _EVENLY).clip(max=order.size - 1)] = True
    taken[((order.size - 1) * _EVENLY).astype(np.intp)] = True
    return tiles[order[taken]]
