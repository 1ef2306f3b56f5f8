"""A picture as stars are looked for in it: light from every pixel, brought down in size."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from lapsebench.imaging.proxy import top_code

Image = NDArray[np.float32]
Greys = NDArray[np.float32]
Bools = NDArray[np.bool_]

LONG_SIDE = 3000
"""Most pixels of the long side at which points are looked for.

A star's light is the same in one px as in the many of before, and trails are short in large px; but the larger, the more of
the sky's noise is gathered with it: at half of this, 24-megapixel stars told exposures half as well.
"""
_STRIP = 64  # rows brought down at a time
_COLOUR_SIDE = 750  # px of the picture that tells what colour is around
_COLOUR_BLUR = 2.7  # px of it, sd


@dataclass(frozen=True, slots=True)
class StarPicture:
    """`light` (h, w), linear, and `untold` (h, w): px whose light is not to be trusted. `greys`: light of each grey code.

    Of 16-bit codes and RAW the light is the mean of the channels, and `colour` is None. Of 8-bit codes, most of which were
    coded as luma and coarser colour, it is what their luma tells; `colour` (h', w', 3) is the light of R, G and B around.
    `factor`: how many px of the file, across and down, became one.
    """

    light: Image
    untold: Bools
    greys: Greys
    colour: Image | None = None
    factor: int = 1


def star_picture(codes: NDArray[Any], light: Image) -> StarPicture:
    """Return integer `codes` (H, W, 3) as stars are looked for in them.

    `light`: (levels, 3), what each code adds; at the top code that is not known. Brought down to `LONG_SIDE` or less as
    `at_point_size` does, a strip at a time.
    """
    factor = _factor(codes.shape[:2])
    end, rows = codes.shape[0] // factor * factor, _STRIP * factor
    top = top_code(codes.dtype)
    greys = light.sum(axis=1)
    luma = codes.dtype == np.uint8

    def part(first: int) -> tuple[Image, Bools]:
        strip = codes[first : min(first + rows, end)]
        return _smaller(_luma_light(strip, greys) if luma else _summed(strip, light), _beyond(strip, top), factor)

    lights, untold = zip(*(part(first) for first in range(0, end, rows)), strict=True)
    return StarPicture(
        np.concatenate(lights), np.concatenate(untold), greys, _colour(codes, greys) if luma else None, factor
    )


def at_point_size(light: Image, clipped: Bools) -> tuple[Image, Bools]:
    """Return linear `light` and `clipped`, (h, w), brought down to `LONG_SIDE` or less; nothing is enlarged."""
    return _smaller(light, clipped, _factor(clipped.shape))


def _factor(size: tuple[int, ...]) -> int:
    """Return how many px become one, across and down, of a picture of `size` = (height, width)."""
    return math.ceil(max(*size, 1) / LONG_SIDE)


def _smaller(light: Image, clipped: Bools, factor: int) -> tuple[Image, Bools]:
    if factor == 1:
        return light, clipped
    height, width = (side // factor for side in clipped.shape)
    whole = slice(height * factor), slice(width * factor)
    share: Any = cv2.resize(clipped[whole].astype(np.float32), (width, height), interpolation=cv2.INTER_AREA)
    smaller: Any = cv2.resize(light[whole], (width, height), interpolation=cv2.INTER_AREA)
    return smaller, np.asarray(share > 0)


def _luma_light(codes: NDArray[np.uint8], greys: Greys) -> Image:
    light: Any = cv2.LUT(cv2.cvtColor(codes, cv2.COLOR_RGB2GRAY), greys)
    return np.asarray(light, np.float32)


def _summed(codes: NDArray[Any], light: Image) -> Image:
    parts = (np.take(light[:, c], codes[..., c]) for c in range(3))
    return np.asarray(sum(parts), np.float32)


def _colour(codes: NDArray[np.uint8], greys: Greys) -> Image:
    """Return the light of R, G and B around each px, (h', w', 3), of every so many px only."""
    every = max(max(codes.shape[:2]) // _COLOUR_SIDE, 1)
    around: Any = cv2.GaussianBlur(greys[codes[every // 2 :: every, every // 2 :: every]], (0, 0), _COLOUR_BLUR)
    return np.asarray(around, np.float32)


def _beyond(codes: NDArray[Any], top: int) -> Bools:
    """Return where any channel of `codes` (h, w, 3) reaches `top`, (h, w)."""
    below: Any = cv2.inRange(codes, (0, 0, 0), (top - 1,) * 3)
    return np.asarray(below == 0)
