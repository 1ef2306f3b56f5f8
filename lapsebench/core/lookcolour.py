"""Colour of a look: channel multipliers for warmth and tint, and a saturation that stays within the gamut."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.balance import D65, Multipliers, as_matrix, light_of, light_xy, rgb_to_xyz, white_multipliers
from lapsebench.core.transfer import BT709_WEIGHTS

Values = NDArray[np.float32]

MOST_MIRED = 60.0
"""Mired by which warmth 100 moves the light taken for white: equal steps of mired look equal (own judgement of range)."""
MOST_TINT = 20.0
"""Duv times 1000 by which tint 100 moves it, square to the Planckian locus (own judgement of range)."""
_LEAST = np.float32(1e-9)


@lru_cache(maxsize=8)
def look_multipliers(warmth: float, tint: float, exposure: float) -> Multipliers:
    """Return factors of linear BT.709 R, G, B for warmth and tint (-100..100) and exposure (stops); none at 0, 0, 0.

    White is taken for a light bluer (warmth over 0) or greener (tint over 0) than D65 and made neutral, so that the picture
    turns warmer or more magenta. The luminance of a grey moves by the exposure alone.
    """
    gain = float(2.0**exposure)
    if warmth == 0 and tint == 0:
        return gain, gain, gain
    matrix = as_matrix(np.linalg.inv(rgb_to_xyz("BT.709")))
    kelvin, duv = light_of(D65)
    mired = 1e6 / kelvin - MOST_MIRED * warmth / 100
    plain = np.array(white_multipliers(matrix, light_xy(kelvin, duv)))
    moved = np.array(white_multipliers(matrix, light_xy(1e6 / mired, duv + MOST_TINT * tint / 100))) / plain
    red, green, blue = gain * moved / (moved @ BT709_WEIGHTS)
    return float(red), float(green), float(blue)


def saturation_share(luma: Values, least: Values, most: Values, saturation: float, peak: float) -> Values:
    """Return by what to multiply each pixel's distance from its grey, for saturation -100..100; all arrays one shape.

    `luma`, `least`, `most`: luminance and weakest and strongest channel, linear, 0..`peak`. Down to -100 the share falls
    to 0 alike for all. Above 0 it starts at k = 1 + saturation / 100 for greys and nears 1 as a channel nears 0 or the
    peak: with e how near they are it is k / (1 + (k - 1) e), which takes no channel beyond. Luminance and hue stay.
    """
    first = np.float32(1 + saturation / 100)
    if saturation <= 0:
        return np.full_like(luma, first)
    to_black = least / np.maximum(luma, _LEAST)
    to_peak = (np.float32(peak) - most) / np.maximum(np.float32(peak) - luma, _LEAST)
    near = 1 - np.clip(to_black, 0, 1) * np.clip(to_peak, 0, 1)
    return np.asarray(first / (1 + (first - 1) * near), dtype=np.float32)
