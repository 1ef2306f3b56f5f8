"""Applies a gain to the pixels of a frame for films finer than 8 bits: linear light in float, with or without headroom.

The same gains, responses and roll-off as in `apply`, without rounding to 16 bits in between. With `headroom`, for films that
show what is above white, raised light goes on above 1 instead of rolling off; white is held from being darkened in both.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.curves import Responses
from lapsebench.core.gains import GainEv, lowers, plain_gain
from lapsebench.core.response import light_steps
from lapsebench.core.rolloff import gain_rgb, gain_with_headroom, shoulder_rgb
from lapsebench.imaging.apply import hold_white, looked_up
from lapsebench.imaging.tones import (
    camera_light,
    least_white,
    own_responses,
    shown_light_table,
    shown_of_camera,
    shown_table,
)

Light = NDArray[np.float32]

_BAND_ROWS = 256  # rows of a frame that are worked on at one time


def deep_of_codes(codes: NDArray[Any], gain_ev: GainEv, responses: Responses = (), *, headroom: bool) -> Light:
    """Return light (h, w, 3) of sRGB `codes`, uint8 or uint16, with a gain in stops, one or of R, G, B."""
    gain_ev, levels = plain_gain(gain_ev), int(np.iinfo(codes.dtype).max) + 1
    light = looked_up(codes, shown_table(levels, gain_ev, responses, headroom=headroom))
    if lowers(gain_ev):
        hold_white(codes, light, gain_ev, responses, np.asarray, headroom=headroom)
    return light


def deep_of_linear(linear: Light, gain_ev: GainEv, responses: Responses = (), *, headroom: bool) -> Light:
    """Return light (h, w, 3) of float `linear`, 1 = white, with a gain in stops.

    What is beyond 0..1, colours outside sRGB, is clipped, but kept with `headroom` where no response is in the way.
    """
    responses, gain_ev = own_responses(responses), plain_gain(gain_ev)
    if responses and gain_ev != 0:
        return _banded(linear, lambda band: _through(band, gain_ev, responses, headroom))
    return _banded(linear, lambda band: _gained(band, gain_ev, headroom))


def deep_of_raw(linear: Light, gain_ev: GainEv, *, headroom: bool) -> Light:
    """Return light (h, w, 3) of a developed RAW still with a gain in stops; its headroom is rolled off, or kept."""
    gain_ev = plain_gain(gain_ev)
    return _banded(linear, lambda band: gain_with_headroom(band, gain_ev) if headroom else shoulder_rgb(band, gain_ev))


def _through(band: Light, gain_ev: GainEv, responses: Responses, headroom: bool) -> Light:
    band = np.clip(band, 0.0, 1.0)
    light = looked_up(light_steps(band), shown_light_table(gain_ev, responses, headroom=headroom))
    white = band.min(axis=2) > least_white(responses)
    if lowers(gain_ev) and white.any():
        camera = camera_light(band[white], responses)
        gained = gain_with_headroom(camera, gain_ev) if headroom else gain_rgb(camera, gain_ev)
        light[white] = shown_of_camera(gained, responses)
    return light


def _gained(band: Light, gain_ev: GainEv, headroom: bool) -> Light:
    return gain_with_headroom(band, gain_ev) if headroom else gain_rgb(np.clip(band, 0.0, 1.0), gain_ev)


def _banded(linear: Light, work: Any) -> Light:
    light = np.empty(linear.shape, np.float32)
    for top in range(0, linear.shape[0], _BAND_ROWS):
        light[top : top + _BAND_ROWS] = work(linear[top : top + _BAND_ROWS])
    return light
