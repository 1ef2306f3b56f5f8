"""Finds spoilt frames from their tiles: blown, black, and stray light such as a headlamp or a passing car."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label

from lapsebench.core.transfer import luminance

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_BLOWN_SHARE = 0.08  # of the picture at the top code
_BLOWN_OVER_NEIGHBOURS = 4.0  # times the median of the frames around: the moon or a lamp is clipped in all of them
_BLACK = 0.0012  # linear; a code or two above 0 in sRGB
_STRAY_STOPS = 0.7
_STRAY_SHARE = 0.015
_REACH = 3
_HIGHLIGHT = 0.99


@dataclass(frozen=True, slots=True)
class Tiles:
    """All frames of one shot: `rgb` and `clipped`, (n, rows, cols, 3) float32 as in `FrameMeasure`; NaN if unreadable."""

    rgb: NDArray[np.float32]
    clipped: NDArray[np.float32]

    @property
    def readable(self) -> Bools:
        """Which frames were measured, shape (n,)."""
        readable: Bools = np.isfinite(self.rgb[:, 0, 0, 0])
        return readable

    @property
    def known_rgb(self) -> NDArray[np.float32]:
        """`rgb` with unreadable frames black."""
        return _blank(self.rgb, ~self.readable)

    @property
    def clipped_share(self) -> Floats:
        """Share 0..1 of each picture with a channel at the top code, shape (n,); NaN if unreadable."""
        share: Floats = self.clipped.max(axis=3).mean(axis=(1, 2), dtype=float)
        return share

    @property
    def highlight(self) -> Floats:
        """Linear light of the brightest parts, 99th percentile over tiles and channels, shape (n,); NaN if unreadable."""
        highlight: Floats = np.quantile(self.rgb.reshape(self.rgb.shape[0], -1), _HIGHLIGHT, axis=1).astype(float)
        return highlight


def blown_frames(tiles: Tiles) -> Bools:
    """Return which frames are blown, shape (n,): much of the picture at the top code, and much more than around them."""
    share = tiles.clipped_share
    around = _median_around(share, reach=12)
    blown: Bools = (share > _BLOWN_SHARE) & (share > _BLOWN_OVER_NEIGHBOURS * around)
    return blown


def black_frames(tiles: Tiles) -> Bools:
    """Return which frames are black, shape (n,): a lens cap or a failed exposure."""
    light = luminance(tiles.known_rgb).reshape(tiles.rgb.shape[0], -1)
    black: Bools = tiles.readable & (np.quantile(light, 0.99, axis=1) < _BLACK)
    return black


def stray_light_frames(tiles: Tiles, received_ev: Floats, usable: Bools) -> Bools:
    """Return which frames hold light that is in none of their neighbours and is not the green of aurora, shape (n,).

    `received_ev`: (n,) stops, takes the camera's own changes out. `usable`: (n,) frames not already found spoilt.
    """
    light = np.maximum(tiles.known_rgb, 0.0)  # colours beyond BT.709 reach below 0: that is no lack of light
    scene = light * np.exp2(-np.nan_to_num(received_ev)).astype(np.float32)[:, None, None, None]
    stray = np.zeros(usable.size, bool)
    good = np.flatnonzero(usable)
    for place, frame in enumerate(good):
        before, after = good[max(0, place - _REACH) : place], good[place + 1 : place + 1 + _REACH]
        if before.size and after.size:
            stray[frame] = _has_stray_light(scene[frame], scene[before], scene[after])
    return stray


def _has_stray_light(frame: NDArray[np.float32], before: NDArray[np.float32], after: NDArray[np.float32]) -> bool:
    """Return whether warm or white light covers one patch of `frame` (rows, cols, 3) that neither side's frames have."""
    usual = np.maximum(before.max(axis=0), after.max(axis=0))
    added = np.maximum(frame - usual, 0.0)
    lit = luminance(added) > (2.0**_STRAY_STOPS - 1) * np.maximum(luminance(usual), 1e-6)
    if lit.mean() <= _STRAY_SHARE:
        return False
    patches, _ = label(lit)
    largest = patches == np.argmax(np.bincount(patches[lit]))
    red, green, blue = added[largest].mean(axis=0)
    return bool(largest.mean() > _STRAY_SHARE and red > 0.7 * green and blue > 0.1 * green)


def _median_around(values: Floats, *, reach: int) -> Floats:
    """Return the median of the known values up to `reach` away, shape (n,); NaN where there are none."""
    medians = np.full(values.size, np.nan)
    for i in range(values.size):
        near = values[max(0, i - reach) : i + reach + 1]
        near = near[np.isfinite(near)]
        medians[i] = np.median(near) if near.size else np.nan
    return medians


def usable_tiles(tiles: Tiles, spoilt: Bools) -> NDArray[np.float32]:
    """Return how far each tile may be trusted, (n, rows, cols, 3), 0..1: 0 where clipped or the frame is spoilt."""
    usable = np.clip(1 - 20 * tiles.clipped, 0, 1)
    return _blank(usable, spoilt | ~tiles.readable)


def _blank(values: NDArray[np.float32], frames: Bools) -> NDArray[np.float32]:
    """Return `values` (n, ...) with the chosen frames all 0."""
    if not frames.any():
        return values
    blanked = values.copy()
    blanked[frames] = 0
    return blanked
