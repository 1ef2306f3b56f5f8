"""Applies a gain to the pixels of a frame: one table a frame for codes, in float for linear light.

What film and screen get are sRGB codes. A film carries them unchanged as R'G'B', coded to Y'CbCr with the BT.709 matrix in
limited range and tagged BT.709, as players expect of stills turned film: a frame with no gain shows as its source does.

In between, light is (h, w, 3) uint16, linear, 65535 = white: an sRGB code of 8 bits is at least 19.9 of its steps, so that
rounding to it is worth no more than 0.026 of a code; pixels are rounded to codes once, after resampling.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from lapsebench.core.rolloff import KNEE, darken, gain_with_rolloff
from lapsebench.core.transfer import linear_to_srgb, srgb_table

WHITE = 65535
"""White of 16-bit linear light."""
_BAND_ROWS = 256  # rows of a frame that are in float at one time


def apply_gain(codes: NDArray[np.uint8], gain_ev: float) -> NDArray[np.uint8]:
    """Return 8-bit sRGB `codes` (h, w, 3) with a gain in stops; 0 and 255 stay, and no gain gives the same codes."""
    if gain_ev == 0.0:
        return codes
    table = gain_table(gain_ev) if gain_ev > 0 else _rounded_codes(_straight_or_rolled(256, gain_ev))
    gained: Any = cv2.LUT(codes, table)
    if gain_ev < 0:
        _hold_white(codes, gained, lambda light: _rounded_codes(darken(light, gain_ev)))
    return np.asarray(gained, dtype=np.uint8)


def apply_gain_to_jpeg(jpeg: bytes, gain_ev: float) -> NDArray[np.uint8]:
    """Return the pixels of a JPEG of sRGB codes with a gain in stops, (h, w, 3); ValueError if it is none."""
    codes: Any = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)
    if codes is None:
        raise ValueError("not a JPEG picture")
    return apply_gain(cv2.cvtColor(codes, cv2.COLOR_BGR2RGB, dst=codes), gain_ev)


def gain_table(gain_ev: float) -> NDArray[np.uint8]:
    """Return the code that each 8-bit grey becomes under a gain in stops, shape (256,)."""
    return _rounded_codes(gain_with_rolloff(srgb_table(256), gain_ev))


def light_of_codes(codes: NDArray[Any], gain_ev: float) -> NDArray[np.uint16]:
    """Return 16-bit linear light of sRGB `codes`, (h, w, 3) uint8 or uint16, with a gain in stops."""
    levels = int(np.iinfo(codes.dtype).max) + 1
    table = _rounded_light(_straight_or_rolled(levels, gain_ev))
    light: Any = cv2.LUT(codes, table) if levels == 256 else np.take(table, codes)
    if gain_ev < 0:
        _hold_white(codes, light, lambda linear: _rounded_light(darken(linear, gain_ev)))
    return np.asarray(light, dtype=np.uint16)


def light_of_linear(linear: NDArray[np.float32], gain_ev: float) -> NDArray[np.uint16]:
    """Return 16-bit linear light of float `linear` (h, w, 3), 1 = white, with a gain in stops; beyond 0..1 is clipped."""
    light = np.empty(linear.shape, np.uint16)
    for top in range(0, linear.shape[0], _BAND_ROWS):
        band = np.clip(linear[top : top + _BAND_ROWS], 0.0, 1.0)
        gained = gain_with_rolloff(band, gain_ev) if gain_ev >= 0 else darken(band, gain_ev)
        light[top : top + _BAND_ROWS] = _rounded_light(gained)
    return light


def _straight_or_rolled(levels: int, gain_ev: float) -> NDArray[np.float32]:
    """Return the light of every code under a gain: rolled off near white when raised, straight when lowered."""
    light = srgb_table(levels)
    return gain_with_rolloff(light, gain_ev) if gain_ev >= 0 else light * np.float32(2.0**gain_ev)


def _hold_white(codes: NDArray[Any], gained: NDArray[Any], gain: Callable[[NDArray[np.float32]], NDArray[Any]]) -> None:
    """Put right, in place, the pixels of `gained` that are near white in every channel of `codes`."""
    levels = int(np.iinfo(codes.dtype).max) + 1
    knee = int(np.searchsorted(srgb_table(levels), KNEE))
    white = cv2.inRange(codes, (knee,) * 3, (levels - 1,) * 3) > 0
    if white.any():
        gained[white] = gain(srgb_table(levels)[codes[white]])


def codes_of_light(light: NDArray[np.uint16]) -> NDArray[np.uint8]:
    """Return 8-bit sRGB codes of 16-bit linear light, any shape, rounded to the nearest."""
    return np.take(_light_table(), light)


@lru_cache(maxsize=1)
def _light_table() -> NDArray[np.uint8]:
    table = _rounded_codes(np.arange(WHITE + 1) / WHITE)
    table.flags.writeable = False
    return table


def _rounded_codes(linear: NDArray[Any]) -> NDArray[np.uint8]:
    return np.rint(255 * linear_to_srgb(linear)).astype(np.uint8)


def _rounded_light(linear: NDArray[np.float32]) -> NDArray[np.uint16]:
    light: NDArray[np.uint16] = np.rint(linear * np.float32(WHITE)).astype(np.uint16)
    return light
