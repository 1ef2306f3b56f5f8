"""Noise, points of light and sharpness of a look, on linear light, the same for every frame.

The picture is taken apart into points and what is left without them. Noise is taken out of the latter by guided filters (He,
Sun and Tang, "Guided image filtering", IEEE TPAMI 35(6), 2013), which keep edges and, in linear light, the mean: frames of
more noise do not come out darker. The points are put back whole, more or less bright as stars are cared for. Noise is taken
to grow with the root of the light, as photons' does; how much of it is set by the slider, not measured, so that a film is
treated alike throughout. Only what passes for a point depends on the noise and texture around.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from lapsebench.core.look import Look
from lapsebench.core.transfer import BT709_WEIGHTS

Image = NDArray[np.float32]

REFERENCE_PX = 1920
"""Long side of the picture that the sizes here are px of; they go with the picture's."""
MOST_NOISE = 0.05
"""Sd, in the square root of light, of the noise that noise 100 takes out: about 15 codes of 255 in a dark sky."""
_CORE, _RING, _POINT_SIDE = 0.9, 2.5, 9.0  # px: sds of a point and of its surroundings, side of what is no point any more
_REACH, _SOFT, _AROUND_SIDE = 2.0, 0.8, 15.0  # px: mask beyond a point, its edge, side of where the light around is read
_PATCH_SIDE = 31.0  # px of what a point must stand out of
_SHARPEST = np.float32(8.0)  # times the variance there, over which a value is a light itself
_CLEAR = np.float32(3.0)  # sds there at which a point begins to be one; at twice that it is one
_FAINTEST = np.float32(0.003)  # of root light: less is rounding to codes
_SMOOTH_SIDE, _COLOUR_SIDE = 7.0, 15.0  # px of the guided filters
_LEAST_VARIANCE = np.float32(1e-12)
_COLOUR_MORE = np.float32(2.0)  # variance of a channel less the luminance, to that of the luminance, and a little over
_DARKEST = np.float32(0.001)  # light under which noise does not fall any further: it is the sensor's
_EDGE_SD, _TREMBLE = 1.0, 0.01  # px of sharpening; differences of root light under which it lets be
_MOST_SHARP = 2.0
_ROWS, _SUPPORT = 300, 30  # px of the strips that are worked at one time, and how far from a px anything matters to it


def detailed(light: Image, look: Look, peak: float) -> Image:
    """Return linear `light` (h, w, 3), 0..`peak`, with noise, stars and sharpness of the look, within the same range."""
    scale = max(light.shape[:2]) / REFERENCE_PX
    mask = _points(_luma(cv2.split(light)), scale) if look.noise > 0 or look.star_care != 0 else None
    rows, more = ceil(_ROWS * scale), ceil(_SUPPORT * scale)
    shown: Image = np.empty_like(light)
    for top in range(0, light.shape[0], rows):
        first = max(top - more, 0)
        strip = slice(first, top + rows + more)
        done = _strip(light[strip], None if mask is None else mask[strip], look, peak, scale)
        shown[top : top + rows] = done[top - first : top - first + rows]
    return shown


def _strip(light: Image, mask: Image | None, look: Look, peak: float, scale: float) -> Image:
    """Return some rows of a picture, treated as `detailed` says; `mask` (h, w) is where its points are."""
    planes = [np.asarray(plane, dtype=np.float32) for plane in cv2.split(light)]
    if mask is not None:
        planes = _points_apart(planes, mask, look, scale)
    if look.sharpen > 0:
        share = _sharper(_luma(planes), look.sharpen, scale)
        planes = [plane * share for plane in planes]
    most = np.maximum(np.maximum(planes[0], planes[1]), planes[2])
    within = np.float32(peak) / np.maximum(most, np.float32(peak))
    return np.asarray(cv2.merge([np.fmax(plane, 0) * within for plane in planes]), dtype=np.float32)


def _points_apart(planes: list[Image], mask: Image, look: Look, scale: float) -> list[Image]:
    """Return planes R, G, B with the noise taken out between the points, and the points with their share of light."""
    noise_sd = MOST_NOISE * look.noise / 100
    points = [mask * (plane - around) for plane, around in zip(planes, _around(planes, mask, scale), strict=True)]
    rest = [plane - point for plane, point in zip(planes, points, strict=True)]
    if noise_sd > 0:
        rest = _smooth(rest, noise_sd, scale)
    more = np.float32(2.0 ** (look.star_care / 100) - 1)
    brighter = [point + more * np.maximum(point, np.float32(0)) for point in points]
    return [plane + point for plane, point in zip(rest, brighter, strict=True)]


def _points(luma: Image, scale: float) -> Image:
    """Return how surely each px belongs to a point of light, 0..1, (h, w): by how far it stands out of noise and texture.

    Large pictures are looked at smaller: a point's light is the same in one px as in the many of before.
    """
    height, width = luma.shape
    factor = int(scale)
    if factor >= 2:
        size = max(width // factor, 1), max(height // factor, 1)
        small: Any = cv2.resize(luma, size, interpolation=cv2.INTER_AREA)
        mask = cv2.resize(_points(small, scale / factor), (width, height), interpolation=cv2.INTER_LINEAR)
        return np.asarray(mask, dtype=np.float32)
    root = np.sqrt(luma)
    core: Any = cv2.GaussianBlur(root, (0, 0), _sd(_CORE, scale))
    above = core - cv2.GaussianBlur(root, (0, 0), _sd(_RING, scale))
    patch = (_side(_PATCH_SIDE, scale),) * 2
    square = above * above
    rough: Any = cv2.blur(square, patch)
    for _ in range(2):
        rough = cv2.blur(np.minimum(square, _SHARPEST * rough), patch)
    wide = cv2.morphologyEx(core, cv2.MORPH_OPEN, np.ones((_side(_POINT_SIDE, scale),) * 2, np.uint8))
    clear = np.minimum(above, core - wide) / np.maximum(_CLEAR * np.sqrt(np.maximum(rough, 0)), _FAINTEST) - 1
    reach = _side(2 * _REACH, scale)
    grown = cv2.dilate(np.clip(clear, 0, 1), cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach)))
    return np.asarray(cv2.GaussianBlur(grown, (0, 0), _sd(_SOFT, scale)), dtype=np.float32)


def _around(planes: list[Image], mask: Image, scale: float) -> list[Image]:
    """Return the light around each px in R, G, B, points left out."""
    sides = (_side(_AROUND_SIDE, scale),) * 2
    weight = np.maximum(1 - mask, np.float32(1e-3))
    total: Any = cv2.blur(weight, sides)
    return [cv2.blur(plane * weight, sides) / total for plane in planes]


def _smooth(planes: list[Image], noise_sd: float, scale: float) -> list[Image]:
    """Return planes R, G, B without noise: luminance over few px, colour over more; the edges of each stay."""
    luma = _luma(planes)
    spread = np.float32(4 * noise_sd**2)  # of light, in units of light: d(light) = 2 root d(root)
    side, wide = (_side(px, scale) for px in (_SMOOTH_SIDE, _COLOUR_SIDE))
    level: Any = cv2.blur(luma, (wide, wide)) + _DARKEST
    smooth_luma = _guided(luma, spread * level, side)
    level *= _COLOUR_MORE * spread
    red, blue = (smooth_luma + _guided(plane - luma, level, wide) for plane in (planes[0], planes[2]))
    weights = [np.float32(weight) for weight in BT709_WEIGHTS]
    return [red, (smooth_luma - weights[0] * red - weights[2] * blue) / weights[1], blue]


def _guided(values: Image, noise: Image, side: int) -> Image:
    """Return `values` smoothed over `side` px where their variance is less than that of `noise`; their mean stays.

    With q the variance of noise to that of the values, 1 / (1 + q^1.5) of what varies is kept, for the usual 1 / (1 + q):
    edges come out more nearly whole.
    """
    sides = (side, side)
    mean: Any = cv2.blur(values, sides)
    kept: Any = cv2.blur(values * values, sides)
    kept -= mean * mean
    np.divide(noise, np.maximum(kept, _LEAST_VARIANCE, out=kept), out=kept)
    kept *= np.sqrt(kept)
    kept += 1
    np.reciprocal(kept, out=kept)
    mean -= kept * mean
    smooth: Any = cv2.blur(kept, sides)
    smooth *= values
    smooth += cv2.blur(mean, sides)
    return np.asarray(smooth, dtype=np.float32)


def _sharper(luma: Image, sharpen: float, scale: float) -> Image:
    """Return by what to multiply each px so that the root of its light stands out from its surroundings, (h, w)."""
    root = np.sqrt(np.fmax(luma, 0))
    apart = root - cv2.GaussianBlur(root, (0, 0), _sd(_EDGE_SD, scale))
    square = apart * apart
    apart *= np.float32(_MOST_SHARP * sharpen / 100) * square / (square + np.float32(_TREMBLE**2))
    return np.asarray(np.clip(1 + apart / np.maximum(root, np.float32(1e-3)), 0.5, 2) ** 2, dtype=np.float32)


def _luma(planes: Sequence[Any]) -> Image:
    red, green, blue = (np.float32(weight) for weight in BT709_WEIGHTS)
    return np.asarray(red * planes[0] + green * planes[1] + blue * planes[2], dtype=np.float32)


def _sd(px: float, scale: float) -> float:
    return max(px * scale, 0.4)


def _side(px: float, scale: float) -> int:
    """Return an odd number of px, at least 3."""
    return max(2 * round((px * scale - 1) / 2) + 1, 3)
