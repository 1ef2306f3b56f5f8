"""Finds spoilt frames from their tiles: blown, black, and stray light such as a headlamp or a passing car."""

from __future__ import annotations

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
    def clipped_share(self) -> Floats:
        """Share 0..1 of each picture with a channel at the top code, shape (n,); NaN if unreadable."""
        return by_frames(_clipped_share, self.clipped)

    @cached_property
    def highlight(self) -> Floats:
        """Linear light of the brightest parts, 99th percentile over tiles and channels, shape (n,); NaN if unreadable."""
        return by_frames(_highlight, self.rgb)


def _clipped_share(clipped: NDArray[np.float32]) -> Floats:
    red, green, blue = (clipped[..., channel] for channel in range(3))
    share: Floats = np.maximum(np.maximum(red, green), blue).mean(axis=(1, 2), dtype=float)
    return share


def _highlight(rgb: NDArray[np.float32]) -> Floats:
    highlight: Floats = np.quantile(rgb.reshape(rgb.shape[0], -1), HIGHLIGHT, axis=1).astype(float)
    return highlight


def blown_frames(tiles: Tiles) -> Bools:
    """Return which frames are blown, shape (n,): much of the picture at the top code, and much more than around them."""
    share = tiles.clipped_share
    around = _median_around(share, reach=12)
    blown: Bools = (share > _BLOWN_SHARE) & (share > _BLOWN_OVER_NEIGHBOURS * around)
    return blown


def black_frames(tiles: Tiles) -> Bools:
    """Return which frames are black, shape (n,): a lens cap or a failed exposure."""
    lit = (tiles.light >= _BLACK).mean(axis=(1, 2))
    black: Bools = tiles.readable & (lit < 1 - HIGHLIGHT)
    return black


def stray_light_frames(tiles: Tiles, received_ev: Floats, usable: Bools) -> Bools:
    """Return which frames hold light that is in none of their neighbours and is not the green of aurora, shape (n,).

    `received_ev`: (n,) stops, takes the camera's own changes out. `usable`: (n,) frames not already found spoilt.
    """
    good = np.flatnonzero(usable)
    stray = np.zeros(usable.size, bool)
    if good.size < 3:
        return stray
    gain = np.exp2(-np.nan_to_num(received_ev[good])).astype(np.float32)

    def find(places: Ints) -> Bools:
        reach = slice(max(places[0] - _REACH, 0), places[-1] + 1 + _REACH)
        scene = np.maximum(tiles.rgb[good[reach]], 0.0)  # colours beyond BT.709 reach below 0: that is no lack of light
        scene *= gain[reach, None, None, None]
        before, after = max(_REACH - places[0], 0), max(places[-1] + 1 + _REACH - good.size, 0)
        return _stray_light(np.pad(scene, ((before, after), (0, 0), (0, 0), (0, 0))))

    stray[good] = by_frames(find, np.arange(good.size))
    stray[good[[0, -1]]] = False  # they have neighbours on one side only
    return stray


def _stray_light(scene: NDArray[np.float32]) -> Bools:
    """Return which frames of `scene` (n + 2 reach, rows, cols, 3), the reach left out, hold light that none around has."""
    count = scene.shape[0] - 2 * _REACH
    before = np.maximum.reduce([scene[k : k + count] for k in range(_REACH)])
    after = np.maximum.reduce([scene[k : k + count] for k in range(_REACH + 1, 2 * _REACH + 1)])
    usual = np.maximum(before, after)
    added = np.maximum(scene[_REACH:-_REACH] - usual, 0.0)
    lit = luminance(added) > (2.0**_STRAY_STOPS - 1) * np.maximum(luminance(usual), 1e-6)
    stray = np.zeros(count, bool)
    for i in np.flatnonzero(lit.mean(axis=(1, 2)) > _STRAY_SHARE):
        stray[i] = _is_warm_patch(added[i], lit[i])
    return stray


def _is_warm_patch(added: NDArray[np.float32], lit: Bools) -> bool:
    """Return whether warm or white light, `added` (rows, cols, 3) where `lit`, covers one patch large enough."""
    patches, _ = label(lit)
    largest = patches == np.argmax(np.bincount(patches[lit]))
    red, green, blue = added[largest].mean(axis=0)
    return bool(largest.mean() > _STRAY_SHARE and red > 0.7 * green and blue > 0.1 * green)


def _median_around(values: Floats, *, reach: int) -> Floats:
    """Return the median of the known values up to `reach` away, shape (n,); NaN where there are none."""
    windows = sliding_window_view(np.pad(values, reach, constant_values=np.nan), 2 * reach + 1)
    medians, known = np.full(values.size, np.nan), np.isfinite(windows).any(axis=1)
    medians[known] = np.nanmedian(windows[known], axis=1)
    return medians


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
