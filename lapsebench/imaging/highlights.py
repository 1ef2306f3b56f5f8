"""Rebuilds saturated channels from the others by the colour around, so that bright aurora keeps its hue.

Where a channel saturates, the pixel is taken for light of the colour that surrounds the saturated patch, as strong as its
unsaturated channels say. Where all saturate it is white of that luminance. All transitions are ramps: there are no seams.
The colour around is carried inwards by a pyramid of weighted means (push-pull; Gortler et al., The Lumigraph, 1996).
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from lapsebench.core.balance import Matrix, camera_to_rgb
from lapsebench.core.mosaic import Mosaic
from lapsebench.core.transfer import BT709_WEIGHTS
from lapsebench.imaging.binning import binned

Floats = NDArray[np.float32]

_RAMP = 0.95, 0.99
"""Of saturation: up to the first a channel is believed, from the second on rebuilt."""
_CELL = 4  # binned pixels of a side of the cells in which colour is averaged
_LEAST_WEIGHT = 1e-4  # of a cell against one just below saturation
_LEAST_SHARE = 0.03  # of a channel in the colour around


def colour_around(mosaic: Mosaic, gains: NDArray[np.float64], tops: NDArray[np.float64]) -> Floats | None:
    """Return the colour of unsaturated light in and around each cell, (rows, cols, 3), largest channel = 1.

    `gains`: of R, G, B per code; `tops`: their light at saturation. None where nothing is saturated.
    """
    if mosaic.codes.max() < min(mosaic.clip):
        return None
    light, clipped = binned(mosaic, np.diag(gains))
    if not clipped.any():
        return None
    sound = sound_places(light, clipped, tops)
    if mosaic.pattern.shape == (2, 2):  # of a 6 x 6 mosaic's blocks all colours have much the same centre
        light = _centred(light, mosaic.pattern)
        sound = np.asarray(cv2.erode(sound.astype(np.uint8), np.ones((3, 3), np.uint8))) > 0
    return colour_in_cells(light, sound, tops)


def sound_places(light: Floats, clipped: NDArray[np.bool_], tops: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return where balanced `light` (h, w, 3) has a colour that can be believed, (h, w)."""
    return np.asarray((light < (_RAMP[0] * tops).astype(np.float32)).all(axis=2) & ~clipped.any(axis=2))


def colour_in_cells(light: Floats, sound: NDArray[np.bool_], tops: NDArray[np.float64]) -> Floats:
    """Return the colour of `light` (h, w, 3) where it is `sound` (h, w), in and around each cell, as `colour_around`."""
    level = (light / tops.astype(np.float32)).max(axis=2)
    weight = sound * np.clip(level, 1e-3, 1.0) ** 2
    size = -(-light.shape[1] // _CELL), -(-light.shape[0] // _CELL)
    total = cv2.resize(light * weight[..., None], size, interpolation=cv2.INTER_AREA)
    colour = _filled(np.asarray(total), np.asarray(cv2.resize(weight, size, interpolation=cv2.INTER_AREA)))
    colour /= np.maximum(colour.max(axis=2, keepdims=True), 1e-12)
    return np.clip(colour, _LEAST_SHARE, 1.0).astype(np.float32)


def _centred(light: Floats, pattern: NDArray[np.uint8]) -> Floats:
    """Return binned light with each channel moved to the middle of its block, or steep edges would look coloured."""
    planes = []
    for colour in range(3):
        row, col = np.argwhere(pattern == colour).mean(axis=0) / 2 - 0.25
        plane: Any = np.ascontiguousarray(light[..., colour])
        move = np.array([[1, 0, -col], [0, 1, -row]])
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        size = (light.shape[1], light.shape[0])
        planes.append(cv2.warpAffine(plane, move, size, flags=flags, borderMode=cv2.BORDER_REPLICATE))
    return np.asarray(cv2.merge(planes), dtype=np.float32)


def saturate(light: Floats, mosaic: Mosaic, first: int, tops: NDArray[np.float64]) -> None:
    """Lift channels of demosaiced camera `light` (h, w, 3) in place to their tops where all photosites around are saturated.

    `first`: the mosaic's row that the light begins at. Interpolation between equal tops may fall far below them.
    """
    codes = mosaic.codes[first : first + light.shape[0]]
    period = mosaic.pattern.shape[0]
    if codes.max() < min(mosaic.clip):
        return
    reach = np.ones((3, 3) if period == 2 else (5, 5), np.uint8)
    for colour in range(3):
        sound = np.zeros(codes.shape, np.uint8)
        for row, col in np.argwhere(np.roll(mosaic.pattern, -first, axis=0) == colour):
            sound[row::period, col::period] = codes[row::period, col::period] < mosaic.clip[colour]
        full = cv2.dilate(sound, reach) == 0
        if full.any():
            light[..., colour][full] = np.maximum(light[..., colour][full], np.float32(tops[colour]))


def _filled(total: NDArray[Any], weight: NDArray[Any]) -> Floats:
    """Return the weighted means total / weight, (rows, cols, 3), weightless cells filled from wider and wider around."""
    if max(weight.shape) <= 2:
        mean = (total.sum(axis=(0, 1)) + 1e-9) / (weight.sum() + 1e-9)
        return np.broadcast_to(mean, total.shape).astype(np.float32)
    wide = _filled(cv2.pyrDown(total), cv2.pyrDown(weight))
    around = cv2.pyrUp(wide, dstsize=(weight.shape[1], weight.shape[0])).reshape(total.shape)
    filled: Floats = (total + _LEAST_WEIGHT * around) / (weight + _LEAST_WEIGHT)[..., None]
    return filled


def rebuild(light: Floats, around: Floats, tops: NDArray[np.float64], matrix: Matrix) -> None:
    """Rebuild saturated channels of balanced camera `light` (h, w, 3) in place; `around` is the colour there, (h, w, 3).

    `matrix`: XYZ to camera.
    """
    near = np.flatnonzero((light > (_RAMP[0] * tops).astype(np.float32)).any(axis=2))
    if not near.size:
        return
    pixels, colour = light.reshape(-1, 3)[near], around.reshape(-1, 3)[near]
    top = tops.astype(np.float32)
    gone = _ramp(pixels / top)
    kept = (1 - gone) * colour * colour
    strongest = (top / colour).max(axis=1, keepdims=True)
    faint = 1e-3
    strength = ((kept * (pixels / colour)).sum(axis=1, keepdims=True) + faint * strongest) / (
        kept.sum(axis=1, keepdims=True) + faint
    )
    rebuilt = (1 - gone) * pixels + gone * np.maximum(pixels, strength * colour)
    weights = (BT709_WEIGHTS @ np.array(camera_to_rgb(matrix))).astype(np.float32)
    white = gone.min(axis=1, keepdims=True)
    grey = np.maximum((rebuilt @ weights)[:, None], top.min())
    light.reshape(-1, 3)[near] = (1 - white) * rebuilt + white * grey


def _ramp(level: Floats) -> Floats:
    """Return 0 up to the start of the ramp and 1 from its end on, smooth between."""
    t = np.clip((level - _RAMP[0]) / (_RAMP[1] - _RAMP[0]), 0.0, 1.0)
    smooth: Floats = (t * t * (3 - 2 * t)).astype(np.float32)
    return smooth
