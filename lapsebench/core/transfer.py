"""Transfer functions between codes and linear light, and the luminance weights that go with them.

Domain and range are [0, 1] unless stated. sRGB: IEC 61966-2-1:1999. BT.709: Rec. ITU-R BT.709-6 (06/2015) items 1.2 and 3.2.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

BT709_WEIGHTS = np.array([0.2126, 0.7152, 0.0722])
"""Luminance of linear BT.709 / sRGB primaries: Rec. ITU-R BT.709-6 item 3.2."""


def srgb_to_linear(codes: ArrayLike) -> NDArray[np.float64]:
    """Return linear light for sRGB codes in [0, 1]; values outside continue the curve, odd-symmetric below 0."""
    v = np.asarray(codes, dtype=float)
    magnitude = np.abs(v)
    linear = np.where(magnitude <= 0.04045, magnitude / 12.92, ((magnitude + 0.055) / 1.055) ** 2.4)
    signed: NDArray[np.float64] = np.copysign(linear, v)
    return signed


def linear_to_srgb(linear: ArrayLike) -> NDArray[np.float64]:
    """Return sRGB codes in [0, 1] for linear light; the inverse of `srgb_to_linear`."""
    x = np.asarray(linear, dtype=float)
    magnitude = np.abs(x)
    codes = np.where(magnitude <= 0.0031308, 12.92 * magnitude, 1.055 * magnitude ** (1 / 2.4) - 0.055)
    signed: NDArray[np.float64] = np.copysign(codes, x)
    return signed


def bt709_to_linear(signal: ArrayLike) -> NDArray[np.float64]:
    """Return scene-linear light for BT.709 signal values: the inverse of `linear_to_bt709`."""
    v = np.asarray(signal, dtype=float)
    return np.where(v < 0.081, v / 4.5, ((np.maximum(v, 0.081) + 0.099) / 1.099) ** (1 / 0.45))


def linear_to_bt709(linear: ArrayLike) -> NDArray[np.float64]:
    """Return the BT.709 signal for scene-linear light (opto-electronic transfer, item 1.2)."""
    x = np.asarray(linear, dtype=float)
    return np.where(x < 0.018, 4.5 * x, 1.099 * np.maximum(x, 0.018) ** 0.45 - 0.099)


def luminance(linear_rgb: NDArray[Any]) -> NDArray[Any]:
    """Return BT.709 luminance of linear RGB, shape (..., 3) -> (...)."""
    weights = BT709_WEIGHTS.astype(linear_rgb.dtype)
    result: NDArray[Any] = linear_rgb @ weights
    return result


@lru_cache(maxsize=2)
def srgb_table(levels: int = 256) -> NDArray[np.float32]:
    """Return linear light for every integer code of a `levels`-code sRGB scale (256 or 65536), shape (levels,)."""
    table = srgb_to_linear(np.arange(levels) / (levels - 1)).astype(np.float32)
    table.flags.writeable = False
    return table
