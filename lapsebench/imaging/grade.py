"""Grades pictures: gives linear light the look of the film.

In this order: warmth, tint and exposure; tone; saturation; noise, stars and sharpness; the look-up table. Tone follows the
strongest channel of each pixel, the others go in proportion: hues stay, green aurora stays green, and no channel is cut.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from lapsebench.core.look import Look
from lapsebench.core.lookcolour import look_multipliers, saturation_share
from lapsebench.core.looktones import LookTone, tone_table
from lapsebench.core.lut import Lut
from lapsebench.core.transfer import BT709_WEIGHTS, linear_to_srgb, srgb_table, srgb_to_linear
from lapsebench.imaging.apply import WHITE, codes_of_light
from lapsebench.imaging.detail import detailed

Image = NDArray[np.float32]

_BAND_PX = 65536  # px worked on at one time: few enough for the processor's cache, enough to be worth a call
_LEAST, _MOST = np.float32(1e-12), np.float32(1e6)  # light that is divided by, and that is taken for light at all
_STEPS = 8192  # of tables between light and codes


def graded(light: Image, look: Look, lut: Lut | None = None, *, peak: float = 1.0) -> Image:
    """Return linear BT.709 `light` (h, w, 3) float32, 1 = white, headroom above it allowed, with the look.

    The result is within 0..`peak`; a film with headroom of its own has a peak over 1. A plain look gives back `light`
    itself. `lut` is the table of `look.lut`; it takes sRGB codes, and light over white passes it as white and is raised
    again. Sizes in the look are of a picture 1920 px wide and go with the picture's.
    """
    if look.is_plain:
        return light
    shaped = _shaped(light, look, peak)
    if not look.has_plain_detail:
        shaped = detailed(shaped, look, peak)
    if lut is not None and look.uses_lut:
        shaped = _through(shaped, lut, look.lut_share / 100)
    return shaped


def graded_codes(codes: NDArray[np.uint8], look: Look, lut: Lut | None = None) -> NDArray[np.uint8]:
    """Return 8-bit sRGB `codes` (h, w, 3) with the look; a plain look gives back `codes` itself."""
    if look.is_plain:
        return codes
    light: Any = cv2.LUT(codes, srgb_table(256))
    shown = graded(light, look, lut)
    return codes_of_light(np.rint(shown * np.float32(WHITE)).astype(np.uint16))


def _shaped(light: Image, look: Look, peak: float) -> Image:
    """Return the light with balance, exposure, tone and saturation, 0..`peak`."""
    height, width = light.shape[:2]
    shaped = np.empty((height, width, 3), np.float32)
    factors = look_multipliers(look.warmth, look.tint, look.exposure)
    tone = LookTone(look.contrast, look.shadows, look.highlights, peak)
    rows = max(_BAND_PX // width, 1)
    for top in range(0, height, rows):
        planes = [np.fmin(np.fmax(plane, 0), _MOST) for plane in cv2.split(light[top : top + rows])]
        for plane, factor in zip(planes, factors, strict=True):
            np.multiply(plane, np.float32(factor), out=plane)
        most = _toned(planes, tone)
        if look.saturation != 0:
            _saturated(planes, most, look.saturation, peak)
        cv2.merge(planes, dst=shaped[top : top + rows])
    return shaped


def _toned(planes: list[Image], tone: LookTone) -> Image:
    """Multiply `planes` (R, G, B) in place so that the strongest follows the tone's curve; return the strongest."""
    most = np.maximum(np.maximum(planes[0], planes[1]), planes[2])
    if tone.is_straight:
        shown = np.minimum(most, np.float32(tone.peak))
    else:
        table, per_root = tone_table(tone)
        shown = _between(table, np.sqrt(most) * np.float32(per_root))
        shown *= shown
    share = shown / np.maximum(most, _LEAST)
    for plane in planes:
        np.multiply(plane, share, out=plane)
    return shown


def _saturated(planes: list[Image], most: Image, saturation: float, peak: float) -> None:
    """Move `planes` (R, G, B) in place from or to their greys; `most` is the strongest of them."""
    least = np.minimum(np.minimum(planes[0], planes[1]), planes[2])
    red, green, blue = (np.float32(weight) for weight in BT709_WEIGHTS)
    luma = planes[0] * red + planes[1] * green + planes[2] * blue
    share = saturation_share(luma, least, most, saturation, peak)
    for plane in planes:
        np.fmax((plane - luma) * share + luma, 0, out=plane)


def _through(light: Image, lut: Lut, share: float) -> Image:
    """Return light with a share 0..1 of what a look-up table of sRGB codes makes of it."""
    height, width = light.shape[:2]
    shown = np.empty_like(light)
    rows = max(_BAND_PX // width, 1)
    for top in range(0, height, rows):
        planes = cv2.split(light[top : top + rows])
        over = np.maximum(np.maximum(planes[0], planes[1]), np.maximum(planes[2], 1))
        coded = [_between(_code_table(), np.sqrt(plane / over) * np.float32(_STEPS)) for plane in planes]
        codes = np.asarray(cv2.merge(coded), dtype=np.float32)
        codes += np.float32(share) * (lut.applied(codes) - codes)
        planes = [_between(_light_table(), plane * np.float32(_STEPS)) * over for plane in cv2.split(codes)]
        cv2.merge(planes, dst=shown[top : top + rows])
    return shown


def _between(table: Image, place: Image) -> Image:
    """Return the table's values at any places, straight between its entries and held at its ends."""
    place = np.minimum(np.maximum(place, 0), np.float32(table.size - 1))
    node = np.minimum(place.astype(np.int32), np.int32(table.size - 2))
    below = table.take(node)
    return below + (place - node.astype(np.float32)) * (table.take(node + 1) - below)


@lru_cache(maxsize=1)
def _code_table() -> Image:
    """Return sRGB codes 0..1 at evenly spaced roots of light; between them it is within 1e-7."""
    return linear_to_srgb((np.arange(_STEPS + 1) / _STEPS) ** 2).astype(np.float32)


@lru_cache(maxsize=1)
def _light_table() -> Image:
    """Return light at evenly spaced sRGB codes 0..1; between them it is within 1e-8."""
    return srgb_to_linear(np.arange(_STEPS + 1) / _STEPS).astype(np.float32)
