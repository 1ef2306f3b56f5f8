"""What made-up cameras make of light: sRGB, and three in-camera tone curves that are not."""

from __future__ import annotations

from collections.abc import Callable
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.transfer import linear_to_srgb
from nights.waves import Random

Codes = NDArray[Any]
_STEPS = 1 << 16


class Tone(StrEnum):
    """The curve of a camera; the value is the word printed."""

    SRGB = "sRGB"
    S_SHAPED = "S-shaped curve"
    LIFTED = "lifted shadows"
    SHOULDER = "strong shoulder"


Curve = Callable[[NDArray[Any]], NDArray[Any]]
"""From linear light to codes, both 0..1, by way of a fine table."""


def tone_curve(tone: Tone, random: Random) -> Curve:
    """Return the curve of one camera; two cameras of the same kind differ a little."""
    light = np.linspace(0, 1, _STEPS) ** 2
    table = _coded(tone, light, random.uniform(0.8, 1.2)).astype(np.float32)

    def curve(linear: NDArray[Any]) -> NDArray[Any]:
        place = np.sqrt(np.clip(linear, 0, 1)) * np.float32(_STEPS - 1) + np.float32(0.5)
        return np.asarray(table[place.astype(np.int32)])

    return curve


def _coded(tone: Tone, light: NDArray[np.float64], strength: float) -> NDArray[np.float64]:
    """Return codes 0..1 of linear `light` 0..1; `strength` is 1 for the usual camera of the kind."""
    plain = linear_to_srgb(light)
    if tone is Tone.S_SHAPED:
        power = 1 + 0.3 * strength
        return np.asarray(plain**power / (plain**power + (1 - plain) ** power))
    if tone is Tone.LIFTED:
        return np.asarray(0.03 * strength + (1 - 0.03 * strength) * plain ** (1 - 0.2 * strength))
    if tone is Tone.SHOULDER:
        bend = 3.0 * strength
        return linear_to_srgb(np.expm1(-bend * light) / np.expm1(-bend))
    return plain
