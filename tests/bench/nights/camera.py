"""A made-up camera: marks on its dials, what it really exposes, its noise, and the files it writes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from nights.curves import Codes, Curve
from nights.waves import Floats, Image, Random

BIAS_SD_EV = 0.05
"""How far a setting is off its marks, stops, sd."""
JPEG_QUALITY = 92
FULL_WELL_E = 800_000.0
"""Electrons at white at ISO 100: a px of a small picture is many of the sensor's."""
_READ_NOISE_E = 8.0
_TIMES = (
    "1/60 1/50 1/40 1/30 1/25 1/20 1/15 1/13 1/10 1/8 1/6 1/5 1/4 0.3 0.4 0.5 0.6 0.8 1 1.3 1.6 2 2.5 3.2 4 5 6 8 10 13 15"
)
_TIME_NAMES = dict(zip(range(-18, 13), _TIMES.split(), strict=True))
_ISO_NAMES = (100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500, 3200, 4000, 5000, 6400)
_F_NAMES = (1.0, 1.1, 1.2, 1.4, 1.6, 1.8, 2.0, 2.2, 2.5, 2.8, 3.2, 3.5, 4.0)


@dataclass(frozen=True, slots=True)
class Setting:
    """Clicks of a third of a stop: `time` from 1 s, `iso` from ISO 100, `aperture` closed from f/1."""

    time: int
    iso: int
    aperture: int

    @property
    def marks_ev(self) -> float:
        """Camera exposure log2(t S / 100 / N^2) at the true marks, stops."""
        return (self.time + self.iso - self.aperture) / 3

    @property
    def names(self) -> tuple[float, float, float]:
        """Shutter (s), f-number and ISO as the dials name them and EXIF has them."""
        top, _, bottom = _TIME_NAMES[self.time].partition("/")
        return float(top) / float(bottom or 1), _F_NAMES[self.aperture], float(_ISO_NAMES[self.iso])


SHORTEST, LONGEST = min(_TIME_NAMES), max(_TIME_NAMES)
LEAST_ISO, MOST_ISO = 0, len(_ISO_NAMES) - 1


@dataclass(frozen=True, slots=True)
class Camera:
    """`curve`: from light to codes. `deep`: 16-bit codes, no JPEG. `black`: linear light that a wrong black level adds.

    `well_e`: electrons at white at ISO 100.
    """

    curve: Curve
    deep: bool = False
    black: float = 0.0
    well_e: float = FULL_WELL_E

    def picture(self, light: Image, iso: float, random: Random) -> Codes:
        """Return the codes (h, w, 3), as decoded again, of `light` already exposed: linear, white at 1."""
        white_e = self.well_e * 100 / iso
        sd = np.sqrt(np.clip(light, 0, None) / white_e + (_READ_NOISE_E / white_e) ** 2)
        return self.coded(light + sd * random.standard_normal(light.shape, np.float32))

    def coded(self, light: Image) -> Codes:
        """Return the codes (h, w, 3) of `light` without noise."""
        codes = self.curve(light + np.float32(self.black))
        if self.deep:
            return np.asarray(np.rint(65535 * codes), np.uint16)
        return through_jpeg(np.rint(255 * codes).astype(np.uint8))


def through_jpeg(codes: Codes) -> Codes:
    """Return 8-bit RGB codes (h, w, 3) after real JPEG coding."""
    _, data = cv2.imencode(".jpg", np.ascontiguousarray(codes[..., ::-1]), [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    decoded: Any = cv2.imdecode(data, cv2.IMREAD_COLOR)
    return np.ascontiguousarray(decoded[..., ::-1])


def biases(settings: list[Setting], random: Random) -> Floats:
    """Return how far each frame's setting is off its marks, (n,) stops, one draw a distinct setting."""
    drawn = {setting: random.normal(0, BIAS_SD_EV) for setting in dict.fromkeys(settings)}
    return np.array([drawn[setting] for setting in settings])
