"""Point lights of a frame, stars and lamps: found, and measured at given places, above the light around them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import erf

from lapsebench.core.sightings import Lights
from lapsebench.core.whitelight import into_point, luma_share
from lapsebench.imaging.starpicture import StarPicture

Floats = NDArray[np.float64]
Image = NDArray[np.float32]

MOST_POINTS = 1500
_CORE = 1.2  # px, sd of the kernel that gathers a point's light
_RING, _FAR = 2.7, 4.0  # px, sds of two kernels of the light around a point
_BEND = (_RING**2 - _CORE**2) / (_FAR**2 - _RING**2)  # so much of the farther one takes out how the light around bends
_CELL, _PATCH, _EVERY = 16, 32, 2  # px: from cell to cell, side of the patch that the noise is told from, every so many px
_STAR = 0.6  # px, sd of a star's image as it usually is
_NORMAL = 1.4826  # median absolute deviations to an sd
_FOUND = 8.0
_EDGE = 4  # px at the border in which nothing is found


@dataclass(frozen=True, slots=True)
class PointMap:
    """`core`: light of a point at each px above its surroundings; `around`: the light there; `sd`: noise of `core`;
    `full`: 1 near clipped px, all (h, w) float32, linear light; `greys`, `colour` and `factor` as in `StarPicture`.
    """

    core: Image
    around: Image
    sd: Image
    full: Image
    greys: NDArray[np.float32]
    colour: Image | None = None
    factor: int = 1


def point_map(picture: StarPicture) -> PointMap:
    """Return the point map of a picture."""
    light = picture.light
    full = cv2.dilate(picture.untold.astype(np.float32), np.ones((7, 7), np.uint8)).astype(np.float32)
    core: Any = cv2.GaussianBlur(light, (0, 0), _CORE)
    around: Any = cv2.GaussianBlur(light, (0, 0), _RING)
    core = core - (1 + _BEND) * around + _BEND * cv2.GaussianBlur(light, (0, 0), _FAR)
    return PointMap(core, around, _noise(core), full, picture.greys, picture.colour, picture.factor)


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
    share = _told_share(seen, np.stack(place)[:, 0], core, around)
    off = np.stack([x, y]) - np.floor([x, y])
    sd = at(seen.sd, cv2.INTER_LINEAR)
    return Lights(core / share, around, sd / share, step / share, (off * (1 - off)).sum(axis=0))


def _told_share(seen: PointMap, xy: NDArray[np.float32], core: Floats, around: Floats) -> Floats:
    """Return what the picture tells of the light of white points at `xy` (2, k) px, as a share of it, (k,)."""
    if seen.colour is None:
        return np.ones_like(core)
    scale = np.float32(seen.colour.shape[1] / seen.core.shape[1])
    x, y = (xy + np.float32(0.5)) * scale - np.float32(0.5)
    colour: Any = cv2.remap(seen.colour, x[None], y[None], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return luma_share(core, around, colour[0].astype(float), seen.greys.astype(float), into=into_point(seen.factor))


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
