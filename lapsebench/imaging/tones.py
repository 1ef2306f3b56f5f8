"""Tables of a gain: from the codes or the light of a picture, through the camera's responses, to the light that is shown.

What is shown is the light that the gained codes stand for as sRGB. Without responses of the camera's own the codes stand for
that light already.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.curves import Responses
from lapsebench.core.gains import GainEv
from lapsebench.core.response import STEPS, Response, any_estimated
from lapsebench.core.rolloff import KNEE, gain_rgb, gain_with_headroom, gain_with_rolloff
from lapsebench.core.transfer import srgb_table, srgb_to_linear

Light = NDArray[np.float32]

_FINE = 4096  # steps of code in tables from light back to codes


def own_responses(responses: Responses) -> Responses:
    """Return the responses where a channel's is the camera's own, else none: sRGB needs no tables of its own."""
    return responses if any_estimated(responses) else ()


def shown_table(levels: int, gain_ev: GainEv, responses: Responses = (), *, headroom: bool = False) -> Light:
    """Return the light shown of every code under a gain in stops: (levels,), or (levels, 3) where channels differ.

    Raised light rolls off near white, or with `headroom` goes on above it. Lowered light goes straight: white is held pixel
    by pixel, see `shown_white`.
    """
    responses = own_responses(responses)
    if gain_ev == 0.0 or not (responses or isinstance(gain_ev, tuple)):
        return _straight_or_rolled(srgb_table(levels), gain_ev, headroom=headroom)
    return _shown(_straight_or_rolled(_camera_table(levels, responses), gain_ev, headroom=headroom), responses)


def shown_light_table(gain_ev: GainEv, responses: Responses, *, headroom: bool = False) -> Light:
    """Return the same over the `STEPS` + 1 places of `light_steps`, (places, 3), for light in place of codes."""
    return _shown(_straight_or_rolled(_camera_light_table(responses), gain_ev, headroom=headroom), responses)


def knees(levels: int, responses: Responses = ()) -> tuple[int, int, int]:
    """Return for each channel the least code whose light may be near white: at the roll-off's knee or over it."""
    table = _camera_table(levels, own_responses(responses))
    red, green, blue = (int(np.searchsorted(table[:, c], KNEE)) for c in range(3))
    return red, green, blue


def least_white(responses: Responses) -> float:
    """Return sRGB-decoded light under which no channel's camera light is over the knee."""
    return min(float(np.interp(KNEE, *_pairs(response))) for response in responses)


def shown_white(
    codes: NDArray[Any], levels: int, gain_ev: GainEv, responses: Responses = (), *, headroom: bool = False
) -> Light:
    """Return the light shown of single pixels (m, 3) near white, gained so that white stays white."""
    responses = own_responses(responses)
    table = _camera_table(levels, responses)
    light = np.stack([table[:, c][codes[:, c]] for c in range(3)], axis=-1)
    return _shown(gain_with_headroom(light, gain_ev) if headroom else gain_rgb(light, gain_ev), responses)


def camera_light(light: NDArray[Any], responses: Responses) -> Light:
    """Return the light that the camera recorded, 1 = white, of pixels (..., 3) of sRGB-decoded light."""
    return np.stack([np.interp(light[..., c], *_pairs(r)[::-1]) for c, r in enumerate(responses)], axis=-1).astype(
        np.float32
    )


def shown_of_camera(light: Light, responses: Responses) -> Light:
    """Return the light shown of pixels (..., 3) of camera light: the inverse of `camera_light`."""
    return _shown(light, responses)


def _straight_or_rolled(light: Light, gain_ev: GainEv, *, headroom: bool) -> Light:
    """Return light under a gain: rolled off near white when raised, straight when lowered; channels are the last axis."""
    if headroom:
        return light * np.exp2(np.asarray(gain_ev, np.float32))
    if isinstance(gain_ev, tuple):
        return np.stack(
            [_straight_or_rolled(light[..., c], gain, headroom=False) for c, gain in enumerate(gain_ev)], axis=-1
        )
    return gain_with_rolloff(light, gain_ev) if gain_ev >= 0 else light * np.float32(2.0**gain_ev)


def _shown(light: Light, responses: Responses) -> Light:
    """Return the light shown of camera light (..., 3); light above white goes on in proportion."""
    if not responses:
        return light
    shown = [np.interp(light[..., c], *_pairs(r)) * np.maximum(light[..., c], 1) for c, r in enumerate(responses)]
    return np.stack(shown, axis=-1).astype(np.float32)


@lru_cache(maxsize=12)
def _pairs(response: Response) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return camera light and shown light at the same fine codes, both rising from 0 to 1."""
    codes = np.linspace(0.0, 1.0, _FINE + 1)
    return np.exp2(response.stops(codes)), srgb_to_linear(codes)


@lru_cache(maxsize=6)
def _camera_table(levels: int, responses: Responses) -> Light:
    """Return the camera's light of every code, (levels, 3)."""
    if not responses:
        return np.repeat(srgb_table(levels)[:, None], 3, axis=1)
    codes = np.arange(levels) / (levels - 1)
    return np.stack([np.exp2(response.stops(codes)) for response in responses], axis=-1).astype(np.float32)


@lru_cache(maxsize=3)
def _camera_light_table(responses: Responses) -> Light:
    """Return the camera's light over the places of `light_steps`, (places, 3)."""
    light = (np.arange(STEPS + 1) / STEPS) ** 2
    return camera_light(np.repeat(light[:, None], 3, axis=1), responses)
