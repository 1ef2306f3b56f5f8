"""Applies a gain to the pixels of a frame: one table a frame for codes, in float for linear light.

What film and screen get are sRGB codes. A film carries them unchanged as R'G'B', coded to Y'CbCr with the BT.709 matrix in
limited range and tagged BT.709, as players expect of stills turned film: a frame with no gain shows as its source does.

A gain goes from the codes through the camera's responses to its light, there up or down with the roll-off, and back by the
same responses: shadows, mids and highlights move by the same stops. Sizes are changed after that, in the light that codes
stand for as sRGB: what eye and display add up, the same with and without a response, and untouched by its errors. That light
is (h, w, 3) uint16, linear, 65535 = white: an sRGB code of 8 bits is at least 19.9 of its steps, so that rounding to it is
worth no more than 0.026 of a code; pixels are rounded to codes once, after resampling.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from lapsebench.core.curves import Responses
from lapsebench.core.gains import GainEv, lowers, plain_gain
from lapsebench.core.response import light_steps
from lapsebench.core.rolloff import gain_rgb, gain_with_rolloff, shoulder_rgb
from lapsebench.core.transfer import linear_to_srgb, srgb_table
from lapsebench.imaging.tones import (
    camera_light,
    knees,
    least_white,
    own_responses,
    shown_light_table,
    shown_of_camera,
    shown_table,
    shown_white,
)

WHITE = 65535
"""White of 16-bit linear light."""
_BAND_ROWS = 256  # rows of a frame that are in float at one time


def apply_gain(codes: NDArray[np.uint8], gain_ev: GainEv, responses: Responses = ()) -> NDArray[np.uint8]:
    """Return 8-bit `codes` (h, w, 3) with a gain in stops, one or of R, G, B; black and white stay, no gain changes none."""
    gain_ev = plain_gain(gain_ev)
    if gain_ev == 0.0:
        return codes
    table = gain_table(gain_ev, responses) if isinstance(gain_ev, float) and gain_ev > 0 else _straight(gain_ev, responses)
    gained: Any = cv2.LUT(codes, table)
    if lowers(gain_ev):
        hold_white(codes, gained, gain_ev, responses, _rounded_codes)
    return np.asarray(gained, dtype=np.uint8)


def apply_gain_to_jpeg(jpeg: bytes, gain_ev: GainEv, responses: Responses = ()) -> NDArray[np.uint8]:
    """Return the pixels of a JPEG with a gain in stops, (h, w, 3); ValueError if it is none."""
    codes: Any = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)
    if codes is None:
        raise ValueError("not a JPEG picture")
    return apply_gain(cv2.cvtColor(codes, cv2.COLOR_BGR2RGB, dst=codes), gain_ev, responses)


def gain_table(gain_ev: float, responses: Responses = ()) -> NDArray[np.uint8]:
    """Return the code that each 8-bit grey becomes under a gain in stops, (256,), or (1, 256, 3) through responses."""
    if own_responses(responses):
        camera = camera_light(np.repeat(srgb_table(256)[:, None], 3, axis=1), responses)
        return _rounded_codes(shown_of_camera(gain_with_rolloff(camera, gain_ev), responses))[None]
    return _rounded_codes(gain_with_rolloff(srgb_table(256), gain_ev))


def light_of_codes(codes: NDArray[Any], gain_ev: GainEv, responses: Responses = ()) -> NDArray[np.uint16]:
    """Return 16-bit linear light of sRGB `codes`, (h, w, 3) uint8 or uint16, with a gain in stops, one or of R, G, B."""
    gain_ev = plain_gain(gain_ev)
    levels = int(np.iinfo(codes.dtype).max) + 1
    light: Any = looked_up(codes, _rounded_light(shown_table(levels, gain_ev, responses)))
    if lowers(gain_ev):
        hold_white(codes, light, gain_ev, responses, _rounded_light)
    return np.asarray(light, dtype=np.uint16)


def light_of_linear(linear: NDArray[np.float32], gain_ev: GainEv, responses: Responses = ()) -> NDArray[np.uint16]:
    """Return 16-bit linear light of float `linear` (h, w, 3), 1 = white, with a gain in stops; beyond 0..1 is clipped.

    Responses are those measured in the sRGB codes of that light.
    """
    responses, gain_ev = own_responses(responses), plain_gain(gain_ev)
    table = _rounded_light(shown_light_table(gain_ev, responses)) if responses and gain_ev != 0 else None
    light = np.empty(linear.shape, np.uint16)
    for top in range(0, linear.shape[0], _BAND_ROWS):
        band = np.clip(linear[top : top + _BAND_ROWS], 0.0, 1.0)
        into = light[top : top + _BAND_ROWS]
        if table is None:
            into[:] = _rounded_light(gain_rgb(band, gain_ev))
            continue
        into[:] = looked_up(light_steps(band), table)
        white = band.min(axis=2) > least_white(responses)
        if lowers(gain_ev) and white.any():
            into[white] = _rounded_light(shown_of_camera(gain_rgb(camera_light(band[white], responses), gain_ev), responses))
    return light


def light_of_raw(linear: NDArray[np.float32], gain_ev: GainEv) -> NDArray[np.uint16]:
    """Return 16-bit linear light of a developed RAW still, (h, w, 3), with a gain in stops, rolled off from its headroom."""
    light = np.empty(linear.shape, np.uint16)
    for top in range(0, linear.shape[0], _BAND_ROWS):
        light[top : top + _BAND_ROWS] = _rounded_light(shoulder_rgb(linear[top : top + _BAND_ROWS], gain_ev))
    return light


def _straight(gain_ev: GainEv, responses: Responses) -> NDArray[np.uint8]:
    table = _rounded_codes(shown_table(256, gain_ev, responses))
    return table if table.ndim == 1 else table[None]


def looked_up(places: NDArray[Any], table: NDArray[Any]) -> NDArray[Any]:
    """Return the table's values at `places` (h, w, 3); a table (levels, 3) has one column a channel."""
    if places.dtype == np.uint8:
        return np.asarray(cv2.LUT(places, table if table.ndim == 1 else table[None]))
    if table.ndim == 1:
        return np.take(table, places)
    return np.stack([np.take(table[:, c], places[..., c]) for c in range(3)], axis=-1)


def hold_white(
    codes: NDArray[Any],
    gained: NDArray[Any],
    gain_ev: GainEv,
    responses: Responses,
    rounded: Callable[[NDArray[np.float32]], NDArray[Any]],
    *,
    headroom: bool = False,
) -> None:
    """Put right, in place, the pixels of `gained` that are near white in every channel of `codes`."""
    levels = int(np.iinfo(codes.dtype).max) + 1
    white = cv2.inRange(codes, knees(levels, responses), (levels - 1,) * 3) > 0
    if white.any():
        gained[white] = rounded(shown_white(codes[white], levels, gain_ev, responses, headroom=headroom))


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
