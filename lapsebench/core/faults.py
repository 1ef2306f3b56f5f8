"""Finds spoilt frames from their tiles: blown, black, and stray light such as a headlamp or a passing car."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy.ndimage import label

from lapsebench.core.chunks import by_frames
from lapsebench.core.transfer import luminance

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.intp]

_BLOWN_SHARE = 0.08  # of the picture at the top code
_BLOWN_OVER_NEIGHBOURS = 4.0  # times the median of the frames around: the moon or a lamp is clipped in all of them
_BLACK = 0.0012  # linear; a code or two above 0 in sRGB
_STRAY_STOPS = 0.7
_STRAY_SHARE = 0.015
_REACH = 3  # frames looked at on either side
_BESIDE = 6  # frames on either side that tell how lively the sky is
_OVER_LIVELY = 4.0  # times the light that comes up anew in those: rays that run are no headlamp
HIGHLIGHT = 0.99
"""Quantile of tiles and channels that counts as the brightest parts."""


@dataclass(frozen=True)
class Tiles:
    """All frames of one shot: `rgb` and `clipped`, (n, rows, cols, 3) float32 as in `FrameMeasure`; NaN if unreadable.

    What is drawn from them is worked out once.
    """

    rgb: NDArray[np.float32]
    clipped: NDArray[np.float32]

    def part(self, first: int, last: int) -> Tiles:
        """Return the tiles of the frames from `first` to `last`, both counted within these."""
        if (first, last) == (0, self.rgb.shape[0] - 1):
            return self
        return Tiles(self.rgb[first : last + 1], self.clipped[first : last + 1])

    @cached_property
    def readable(self) -> Bools:
        """Which frames were measured, shape (n,)."""
        readable: Bools = np.isfinite(self.rgb[:, 0, 0, 0])
        return readable

    @cached_property
    def known_rgb(self) -> NDArray[np.float32]:
        """`rgb` with unreadable frames black."""
        return _blank(self.rgb, ~self.readable)

    @cached_property
    def light(self) -> NDArray[np.float32]:
        """Luminance of the tiles, (n, rows, cols), linear; unreadable frames black."""
        return by_frames(luminance, self.known_rgb)

    @cached_property
    def lit(self) -> Ints:
        """How many tiles of each frame are brighter than black, shape (n,)."""
        return by_frames(lambda light: np.count_nonzero(light >= _BLACK, axis=(1, 2)), self.light)

    @cached_property
    def clipped_share(self) -> Floats:
        """Share 0..1 of each picture with a channel at the top code, shape (n,); NaN if unreadable."""
        return by_frames(_clipped_share, self.clipped)

    @cached_property
    def blown(self) -> Bools:
        """Which frames are blown, shape (n,): much of the picture at the top code, and much more than around them."""
        share = self.clipped_share
        much = np.flatnonzero(share > _BLOWN_SHARE)
        blown = np.zeros(share.size, bool)
        blown[much] = share[much] > _BLOWN_OVER_NEIGHBOURS * _median_around(share, much, reach=12)
        return blown

    @cached_property
    def black(self) -> Bools:
        """Which frames are black, shape (n,): a lens cap or a failed exposure."""
        black: Bools = self.readable & (self.lit < (1 - HIGHLIGHT) * math.prod(self.light.shape[1:]))
        return black

    @cached_property
    def highlight(self) -> Floats:
        """Linear light of the brightest parts, 99th percentile over tiles and channels, shape (n,); NaN if unreadable."""
        return brightest(self.rgb)


def _clipped_share(clipped: NDArray[np.float32]) -> Floats:
    values = clipped.reshape(clipped.shape[0], -1, 3)
    ever = np.any(np.any(values, axis=0), axis=1)  # lamps and the moon: few tiles, the same for long
    red, green, blue = np.moveaxis(values[:, ever], 2, 0)
    share: Floats = np.maximum(np.maximum(red, green), blue).sum(axis=1, dtype=float) / max(ever.size, 1)
    return share


def brightest(rgb: NDArray[np.float32]) -> Floats:
    """Return the `HIGHLIGHT` quantile of each frame's values, (n,), interpolated; `rgb` is (n, ...), NaN if unreadable."""
    return by_frames(_brightest, rgb)


def _brightest(rgb: NDArray[np.float32]) -> Floats:
    values = rgb.reshape(rgb.shape[0], -1)
    place = HIGHLIGHT * (values.shape[1] - 1)
    above = math.ceil(place)
    parted = np.partition(values, above, axis=1)  # one place is found several times faster than two
    upper, lower = parted[:, above].astype(float), parted[:, : max(above, 1)].max(axis=1).astype(float)
    return np.asarray(upper + (above - place) * (lower - upper))


def stray_light_frames(tiles: Tiles, received_ev: Floats, usable: Bools) -> Bools:
    """Return which frames hold light that is in none of their neighbours and is not the green of aurora, shape (n,).

    `received_ev`: (n,) stops, takes the camera's own changes out. `usable`: (n,) frames not already found spoilt.
    """
    good = np.flatnonzero(usable)
    stray = np.zeros(usable.size, bool)
    if good.size < 3:
        return stray
    gain = np.exp2(-np.nan_to_num(received_ev[good])).astype(np.float32)

    def scene(places: Ints) -> NDArray[np.float32]:
        light = np.maximum(tiles.rgb[good[places]], 0.0)  # colours beyond BT.709 reach below 0: that is no lack of light
        light *= gain[places, None, None, None]
        return light

    values = tiles.rgb.reshape(usable.size, -1)

    def added(k: int) -> tuple[NDArray[np.float32], Bools]:
        around = scene(np.array([j for j in range(max(k - _REACH, 0), min(k + _REACH + 1, good.size)) if j != k]))
        return _added(scene(np.array([k]))[0], around.max(axis=0))

    for k in range(1, good.size - 1):  # the first and the last have neighbours on one side only
        if not _may_be_stray(values, good[k - 1 : k + 2], gain[k - 1 : k + 2]):  # threads would wait for each other here
            continue
        light, lit = added(k)
        if lit.mean() > _STRAY_SHARE and _is_warm_patch(light, lit):
            beside = [j for j in range(max(k - _BESIDE, 1), min(k + _BESIDE + 1, good.size - 1)) if j != k]
            usual = np.quantile([added(j)[1].mean() for j in beside], 0.75) if beside else 0.0
            stray[good[k]] = lit.mean() > _OVER_LIVELY * usual
    return stray


def _may_be_stray(values: NDArray[np.float32], frames: Ints, gain: NDArray[np.float32]) -> bool:
    """Return whether the middle one of three frames of `values` (n, values) may hold stray light: cheap, misses none.

    Where luminance outdoes that of the neighbours by a factor, so does at least one channel. `gain`: (3,) factors.
    """
    least = _STRAY_SHARE * values.shape[1] / 3
    factor = np.float32(2.0**_STRAY_STOPS * (1 - 1e-5)) / gain[1]  # rounding must not hide any
    return all(
        np.count_nonzero(values[frames[1]] > values[frames[beside]] * (factor * gain[beside])) > least for beside in (0, 2)
    )


def _added(scene: NDArray[np.float32], usual: NDArray[np.float32]) -> tuple[NDArray[np.float32], Bools]:
    """Return light, (rows, cols, 3), that a frame has and none around, and where much; `usual`: the most seen there."""
    added = np.maximum(scene - usual, 0.0)
    return added, luminance(added) > (2.0**_STRAY_STOPS - 1) * np.maximum(luminance(usual), 1e-6)


def _is_warm_patch(added: NDArray[np.float32], lit: Bools) -> bool:
    """Return whether warm or white light, `added` (rows, cols, 3) where `lit`, covers one patch large enough."""
    patches, _ = label(lit)
    largest = patches == np.argmax(np.bincount(patches[lit]))
    red, green, blue = added[largest].mean(axis=0)
    return bool(largest.mean() > _STRAY_SHARE and red > 0.7 * green and blue > 0.1 * green)


def _median_around(values: Floats, places: Ints, *, reach: int) -> Floats:
    """Return the median of the known values up to `reach` away from each of the `places`, themselves known, (places,)."""
    windows = sliding_window_view(np.pad(values, reach, constant_values=np.nan), 2 * reach + 1)[places]
    return np.asarray(np.nanmedian(windows, axis=1))


def usable_tiles(tiles: Tiles, spoilt: Bools) -> NDArray[np.float32]:
    """Return how far each tile may be trusted, (n, rows, cols, 3), 0..1: 0 where clipped or the frame is spoilt."""
    usable = by_frames(lambda clipped: np.clip(1 - 20 * clipped, 0, 1), tiles.clipped)
    return _blank(usable, spoilt | ~tiles.readable)


def _blank(values: NDArray[np.float32], frames: Bools) -> NDArray[np.float32]:
    """Return `values` (n, ...) with the chosen frames all 0."""
    if not frames.any():
        return values
    blanked = values.copy()
    blanked[frames] = 0
    return blanked
