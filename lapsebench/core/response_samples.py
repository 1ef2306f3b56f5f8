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

FOOT = 10 / 255
"""Codes above black over which tiles come to count in full."""
_LAGS = (1, 2, 3)
_LEAST_CHANGE_EV = 0.2
_LEAST_CODE = 3 / 255
_LEAST_TILES = 20
_MOST_CHANGES = 40
_TILES_A_PAIR = 160
_EVENLY = np.linspace(0.0, 1.0, _TILES_A_PAIR // 2)


@dataclass(frozen=True, slots=True)
class Samples:
    """m tiles, sorted by p pairs of one channel and two close frames; a setting change lies between the frames of a pair.

    `codes`: (m, 4) sRGB-scaled 0..1 in the frame before the pair, its first, its second and the frame after it; NaN where
    that frame has another setting. `weight`: (m,) 0..1. `pair`: (m,) numbers 0..p-1. `jump_ev`: (p,) stops at the marks.
    `change`: (p,) number of the setting change, the first if there are several. `channel`: (p,). `next_to`: (p,) bool,
    nothing lies between the frames.
    """

    codes: Floats
    weight: Floats
    pair: Ints
    jump_ev: Floats
    change: Ints
    channel: Ints
    next_to: NDArray[np.bool_]

    @property
    def changes(self) -> int:
        """Number of setting changes."""
        return int(np.unique(self.change).size)

    def of_channel(self, channel: int) -> Samples:
        """Return the samples of one channel."""
        kept = np.flatnonzero(self.channel == channel)
        rows = np.isin(self.pair, kept)
        pair = np.searchsorted(kept, self.pair[rows])
        of_pairs = (getattr(self, name)[kept] for name in ("jump_ev", "change", "channel", "next_to"))
        return Samples(self.codes[rows], self.weight[rows], pair, *of_pairs)


def joined(parts: Sequence[Samples]) -> Samples:
    """Return the samples of several shots as one."""
    pairs = np.cumsum([0, *(part.jump_ev.size for part in parts)])
    changes = np.cumsum([0, *(int(part.change.max(initial=-1)) + 1 for part in parts)])
    columns = {
        field.name: np.concatenate([getattr(part, field.name) for part in parts])
        for field in fields(Samples)
        if field.name not in ("pair", "change")
    }
    pair = np.concatenate([part.pair + first for part, first in zip(parts, pairs, strict=False)])
    change = np.concatenate([part.change + first for part, first in zip(parts, changes, strict=False)])
    return Samples(**columns, pair=pair, change=change)


def frames_at_changes(exposure_ev: Floats, usable: NDArray[np.bool_]) -> Ints:
    """Return the frames around up to `_MOST_CHANGES` setting changes, in order: all that `samples_across` looks at.

    `exposure_ev`: (n,) stops at true marks, NaN unknown. `usable`: (n,) frames that are not spoilt.
    """
    frames = np.flatnonzero(usable & np.isfinite(exposure_ev))
    places = np.flatnonzero(np.abs(np.diff(exposure_ev[frames])) > _LEAST_CHANGE_EV)
    if places.size > _MOST_CHANGES:
        places = places[np.linspace(0, places.size - 1, _MOST_CHANGES).astype(np.intp)]
    reach = max(_LAGS)
    near = np.unique((places[:, None] + np.arange(-reach, reach + 2)).clip(0, max(frames.size - 1, 0)))
    return frames[near] if places.size else frames[:0]


def samples_across(light: NDArray[np.float32], usable: NDArray[np.float32], exposure_ev: Floats, black: Floats) -> Samples:
    """Return tiles of pairs of close frames with a setting change in between.

    `light`: (c, n, k) tiles of c channels, decoded as sRGB; below 0 (a colour beyond BT.709) is black. `usable`: (c, n, k),
    0..1, 0 where clipped or spoilt. `exposure_ev`: (n,) stops at true marks, NaN unknown. `black`: (c,) see `black_code`.
    """
    frames = np.flatnonzero(usable.any(axis=(0, 2)) & np.isfinite(exposure_ev))
    ev = exposure_ev[frames]
    runs = np.concatenate([[0], np.cumsum(np.abs(np.diff(ev)) > _LEAST_CHANGE_EV)]) if frames.size else np.empty(0)
    codes = codes_of(light[:, frames])
    parts: list[tuple[Floats, Floats]] = []
    about: list[tuple[float, int, int, bool]] = []
    for lag in _LAGS:
        for i in np.flatnonzero(np.abs(ev[lag:] - ev[:-lag]) > _LEAST_CHANGE_EV) if frames.size > lag else ():
            around = (i - 1, i, i + lag, i + lag + 1)
            same = (
                i > 0 and runs[i - 1] == runs[i],
                True,
                True,
                around[3] < frames.size and runs[around[3]] == runs[around[2]],
            )
            for c in range(light.shape[0]):
                least = np.minimum(codes[c, i], codes[c, i + lag])
                above_black = np.clip((least - max(black[c], _LEAST_CODE)) / FOOT, 0.0, 1.0)
                weight = np.sqrt(usable[c, frames[i]] * usable[c, frames[i + lag]]) * above_black
                good = np.flatnonzero(weight > 0.05)
                if good.size < _LEAST_TILES:
                    continue
                good = _spread(codes[c, i, good] + codes[c, i + lag, good], good)
                seen = [
                    codes[c, at, good] if known else np.full(good.size, np.nan)
                    for at, known in zip(around, same, strict=True)
                ]
                parts.append((np.stack(seen, axis=1), weight[good].astype(float)))
                about.append((float(ev[i + lag] - ev[i]), int(runs[i]), c, lag == 1))
    if not parts:
        nothing = np.empty(0, np.intp)
        return Samples(np.empty((0, 4)), np.empty(0), nothing, np.empty(0), nothing, nothing, np.empty(0, bool))
    pair = np.repeat(np.arange(len(parts)), [weight.size for _, weight in parts])
    jump, change, channel, next_to = (np.array(column) for column in zip(*about, strict=True))
    return Samples(
        np.concatenate([seen for seen, _ in parts]),
        np.concatenate([weight for _, weight in parts]),
        pair,
        jump,
        change,
        channel,
        next_to,
    )


def black_code(light: NDArray[np.float32], usable: NDArray[np.float32]) -> float:
    """Return the code (0..1) under which hardly any tile of a channel (n, k) goes: black as this camera records it."""
    seen = light[usable > 0.3]
    return float(linear_to_srgb(max(float(np.quantile(seen, 0.01)), 0.0))) if seen.size else 0.0


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
