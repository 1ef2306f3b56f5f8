"""Point lights of a frame, stars and lamps: found, and measured at given places, above the light around them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import erf

from lapsebench.core.sightings import Lights
from lapsebench.core.transfer import srgb_table
from lapsebench.imaging.proxy import top_code

Floats = NDArray[np.float64]
Image = NDArray[np.float32]
Greys = NDArray[np.float32]

LONG_SIDE = 3000
"""Most pixels of the long side at which points are looked for.

A star's light is the same in one px as in the many of before, and trails are short in large px; but the larger, the more of
the sky's noise is gathered with it: at half of this, 24-megapixel stars told exposures half as well.
"""
MOST_POINTS = 1500
_CORE = 1.2  # px, sd of the kernel that gathers a point's light
_RING, _FAR = 2.7, 4.0  # px, sds of two kernels of the light around a point
_BEND = (_RING**2 - _CORE**2) / (_FAR**2 - _RING**2)  # so much of the farther one takes out how the light around bends
_CELL, _PATCH, _EVERY = 16, 32, 2  # px: from cell to cell, side of the patch that the noise is told from, every so many px
_STAR = 0.6  # px, sd of a star's image as it usually is
_NORMAL = 1.4826  # median absolute deviations to an sd
_FOUND = 8.0
_STRIP = 64  # rows brought down at a time
_EDGE = 4  # px at the border in which nothing is found


@dataclass(frozen=True, slots=True)
class PointMap:
    """`core`: light of a point at each px above its surroundings; `around`: the light there; `sd`: noise of `core`;
    `full`: 1 near clipped px, all (h, w) float32, linear light; `greys`: light of each grey code of the picture, (levels,).
    """

    core: Image
    around: Image
    sd: Image
    full: Image
    greys: Greys


def at_point_size(light: Image, clipped: NDArray[np.bool_]) -> tuple[Image, NDArray[np.bool_]]:
    """Return linear `light` and `clipped`, (h, w), brought down to `LONG_SIDE` or less; nothing is enlarged."""
    return _smaller(light, clipped, _factor(clipped.shape))


def gathered(codes: NDArray[Any], light: Image, *, told_to: float = 1.0) -> tuple[Image, NDArray[np.bool_]]:
    """Return the light (h, w) of integer `codes` (H, W, 3), summed over the channels, and where it is not to be trusted.

    `light`: (levels, 3), what each code adds; up to the share `told_to` of the codes that is known, at the top code nothing
    is. Brought down to `LONG_SIDE` or less as `at_point_size` does, a strip at a time.
    """
    factor = _factor(codes.shape[:2])
    end, rows = codes.shape[0] // factor * factor, _STRIP * factor
    top = min(top_code(codes.dtype), round(told_to * np.iinfo(codes.dtype).max))
    strips = [codes[first : min(first + rows, end)] for first in range(0, end, rows)]
    lights, clipped = zip(*(_smaller(_summed(strip, light), _beyond(strip, top), factor) for strip in strips), strict=True)
    return np.concatenate(lights), np.concatenate(clipped)


def _factor(size: tuple[int, ...]) -> int:
    """Return how many px become one, across and down, of a picture of `size` = (height, width)."""
    return math.ceil(max(*size, 1) / LONG_SIDE)


def _smaller(light: Image, clipped: NDArray[np.bool_], factor: int) -> tuple[Image, NDArray[np.bool_]]:
    if factor == 1:
        return light, clipped
    height, width = (side // factor for side in clipped.shape)
    whole = slice(height * factor), slice(width * factor)
    share: Any = cv2.resize(clipped[whole].astype(np.float32), (width, height), interpolation=cv2.INTER_AREA)
    smaller: Any = cv2.resize(light[whole], (width, height), interpolation=cv2.INTER_AREA)
    return smaller, np.asarray(share > 0)


def _summed(codes: NDArray[Any], light: Image) -> Image:
    if codes.dtype == np.uint8:
        summed: Any = cv2.transform(cv2.LUT(codes, light[None]), np.ones((1, 3), np.float32))
        return np.asarray(summed, np.float32)
    parts = (np.take(light[:, c], codes[..., c]) for c in range(3))
    return np.asarray(sum(parts), np.float32)


def _beyond(codes: NDArray[Any], top: int) -> NDArray[np.bool_]:
    """Return where any channel of `codes` (h, w, 3) reaches `top`, (h, w)."""
    below: Any = cv2.inRange(codes, (0, 0, 0), (top - 1,) * 3)
    return np.asarray(below == 0)


def point_map(light: Image, clipped: NDArray[np.bool_], *, greys: Greys | None = None) -> PointMap:
    """Return the point map of linear `light` (h, w); `clipped` (h, w) marks px at the top code in any channel.

    `greys`: light of each grey code that the channels can have, (levels,); None: of 8-bit sRGB.
    """
    greys = srgb_table() if greys is None else greys
    full = cv2.dilate(clipped.astype(np.float32), np.ones((7, 7), np.uint8)).astype(np.float32)
    core: Any = cv2.GaussianBlur(light, (0, 0), _CORE)
    around: Any = cv2.GaussianBlur(light, (0, 0), _RING)
    core = core - (1 + _BEND) * around + _BEND * cv2.GaussianBlur(light, (0, 0), _FAR)
    return PointMap(core, around, _noise(core), full, greys)


def _noise(core: Image) -> Image:
    """Return the standard deviation of `core` (h, w) around each px, from the median of its size: points hardly count."""
    height, width = core.shape
    rows, cols = (
        np.clip((np.arange(count)[:, None] + 0.5) * side / count + np.arange(-_PATCH // 2, _PATCH // 2, _EVERY), 0, side - 1)
        for side in (height, width)
        for count in (max(1, round(side / _CELL)),)
    )
    patches = np.abs(core)[rows.astype(int)[:, None, :, None], cols.astype(int)[None, :, None, :]]
    middle = np.median(patches.reshape(rows.shape[0], cols.shape[0], -1), axis=2).astype(np.float32)
    noise: Any = cv2.resize(middle, (width, height), interpolation=cv2.INTER_LINEAR)
    return np.asarray(np.maximum(_NORMAL * noise, 1e-7), np.float32)


def find_points(found_in: PointMap, *, most: int = MOST_POINTS) -> Floats:
    """Return x, y (px) and the height over the noise of up to `most` points, (3, k), the clearest first."""
    core, sd = found_in.core, found_in.sd
    peak = (core >= cv2.dilate(core, np.ones((5, 5), np.uint8))) & (core > _FOUND * sd) & (found_in.full == 0)
    peak[:_EDGE], peak[-_EDGE:], peak[:, :_EDGE], peak[:, -_EDGE:] = False, False, False, False
    y, x = np.nonzero(peak)
    height = core[y, x] / sd[y, x]
    best = np.argsort(-height)[:most]
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
    step = np.interp(around, (seen.greys[1:] + seen.greys[:-1]) / 2, np.diff(seen.greys))
    off = np.stack([x, y]) - np.floor([x, y])
    return Lights(core, around, at(seen.sd, cv2.INTER_LINEAR), step, (off * (1 - off)).sum(axis=0))


def trail_share(length: Floats) -> Floats:
    """Return the share 0..1 of its light that is measured of a star that trails over `length` (k,) px, against a point's.

    The kernel's answer to a line: a Gaussian's mean over it, the sds of star and kernel put together.
    """
    rings = ((1.0, _CORE), (-1.0 - _BEND, _RING), (_BEND, _FAR))
    half = np.maximum(length, 1e-3) / 2
    of_line, of_point = np.zeros_like(half), 0.0
    for share, sd in rings:
        both = np.hypot(sd, _STAR)
        of_line += share / both**2 * np.sqrt(np.pi / 2) * both / half * erf(half / (np.sqrt(2) * both))
        of_point += share / both**2
    return np.asarray(of_line / of_point)
