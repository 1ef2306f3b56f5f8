"""Point lights of a frame, stars and lamps: found, and measured at given places, above the light around them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from lapsebench.core.sightings import Lights
from lapsebench.core.transfer import linear_to_srgb, srgb_to_linear

Floats = NDArray[np.float64]
Image = NDArray[np.float32]

LONG_SIDE = 1500
"""Pixels of the long side at which points are looked for: a star's light is the same in one px as in the many of before."""
_CORE = 1.2  # px, sd of the kernel that gathers a point's light
_RING = 2.7  # px, sd of the kernel of the light around it
_PATCH = 31  # px, side of the patch that the noise is told from
_SHARPEST = 8.0  # sds over which a value is a light itself, not noise
_FOUND = 6.0  # sds from which on a point is found
_SMALL = 1e-4  # of the codes' range
_EDGE = 4  # px at the border in which nothing is found
_MOST = 600


@dataclass(frozen=True, slots=True)
class PointMap:
    """`core`: light of a point at each px above its surroundings; `around`: the light there; `sd`: noise of `core`;
    `full`: 1 near clipped px, all (h, w) float32, linear light; `levels`: codes a channel has.
    """

    core: Image
    around: Image
    sd: Image
    full: Image
    levels: int


def at_point_size(light: Image, clipped: NDArray[np.bool_]) -> tuple[Image, NDArray[np.bool_]]:
    """Return linear `light` (h, w, 3) and `clipped` (h, w) brought down to about `LONG_SIDE`; nothing is enlarged."""
    height, width = clipped.shape
    factor = max(height, width) // LONG_SIDE
    if factor < 2:
        return light, clipped
    size = (width // factor, height // factor)
    smaller: Any = cv2.resize(light, size, interpolation=cv2.INTER_AREA)
    share: Any = cv2.resize(clipped.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    return smaller, np.asarray(share > 0)


def point_map(light: Image, clipped: NDArray[np.bool_], *, levels: int = 256) -> PointMap:
    """Return the point map of linear `light` (h, w); `clipped` (h, w) marks px at the top code in any channel.

    `levels`: how many codes the channels had, sRGB ones or nearly.
    """
    around: Any = cv2.GaussianBlur(light, (0, 0), _RING)
    core = cv2.GaussianBlur(light, (0, 0), _CORE) - around
    size = (_PATCH, _PATCH)
    square = core * core
    rough = cv2.blur(square, size)
    for _ in range(2):
        rough = cv2.blur(np.minimum(square, _SHARPEST * rough), size)
    full = cv2.dilate(clipped.astype(np.float32), np.ones((7, 7), np.uint8))
    return PointMap(core, around, np.sqrt(np.maximum(rough, 1e-14)), full.astype(np.float32), levels)


def find_points(found_in: PointMap) -> Floats:
    """Return x, y (px) and the height over the noise of up to 600 points, (3, k), the clearest first."""
    core, sd = found_in.core, found_in.sd
    peak = (core >= cv2.dilate(core, np.ones((5, 5), np.uint8))) & (core > _FOUND * sd) & (found_in.full == 0)
    peak[:_EDGE], peak[-_EDGE:], peak[:, :_EDGE], peak[:, -_EDGE:] = False, False, False, False
    y, x = np.nonzero(peak)
    height = core[y, x] / sd[y, x]
    best = np.argsort(-height)[:_MOST]
    x, y, height = x[best], y[best], height[best]
    off_x = _vertex(core[y, x - 1], core[y, x], core[y, x + 1])
    off_y = _vertex(core[y - 1, x], core[y, x], core[y + 1, x])
    return np.stack([x + off_x, y + off_y, height]).astype(float)


def _vertex(left: Any, middle: Any, right: Any) -> Floats:
    """Return where the parabola through three neighbours has its top, px from the middle one."""
    bend = np.minimum(left - 2 * middle + right, -1e-12)
    return np.asarray(np.clip(0.5 * (left - right) / bend, -0.5, 0.5), dtype=float)


def lights_at(seen: PointMap, x: Floats, y: Floats) -> Lights:
    """Return what the points at `x`, `y` (k,) px measure; NaN where they are out of the picture or clipped."""
    height, width = seen.core.shape
    if x.size == 0:
        return Lights(*(np.zeros(0) for _ in Lights.__slots__))
    inside = (x >= _EDGE) & (x < width - 1 - _EDGE) & (y >= _EDGE) & (y < height - 1 - _EDGE)
    place = x.astype(np.float32)[None], y.astype(np.float32)[None]

    def at(values: Image, how: int) -> Floats:
        taken: Any = cv2.remap(values, *place, how)
        return np.asarray(taken[0], dtype=float)

    good = inside & (at(seen.full, cv2.INTER_NEAREST) == 0)
    core = np.where(good, at(seen.core, cv2.INTER_CUBIC), np.nan)
    around = at(seen.around, cv2.INTER_LINEAR)
    codes = linear_to_srgb(np.clip(around, 0.0, 1.0))
    step = (srgb_to_linear(codes + _SMALL) - srgb_to_linear(codes)) / _SMALL / (seen.levels - 1)
    off = np.stack([x, y]) - np.floor([x, y])
    return Lights(core, around, at(seen.sd, cv2.INTER_LINEAR), step, (off * (1 - off)).sum(axis=0))
