"""What the program makes of a night: measured, split and levelled just as a survey does it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from lapsebench.core.candles import CandleLight
from lapsebench.core.curves import Responses
from lapsebench.core.filmlight import LightSettings, film_light
from lapsebench.core.response import Response, through
from lapsebench.core.sequence import SPOILT, Fault, Shot
from lapsebench.core.smoothing import lambda_for_period
from lapsebench.core.transfer import srgb_table
from lapsebench.imaging.apply import WHITE, apply_gain, light_of_codes
from lapsebench.imaging.proxy import measure_frame
from lapsebench.imaging.starpicture import StarPicture, star_picture
from lapsebench.services.shotlight import ShotLight, at_moves, light_of_shot
from nights.curves import Codes
from nights.night import Bools, Night
from nights.waves import Floats, Image

FPS = 25.0
RAMP = lambda_for_period(2 * FPS * LightSettings().ramp_s)
"""Stiffness of the smoother that tells slow change from fast, with the program's own ramp length."""
_FAR_DOWN_EV = -12.0  # stops: so dark that no bright display is held back


@dataclass(frozen=True, slots=True)
class Made:
    """What came out, gains as (n,) stops.

    `gain_ev`: with all of the sky kept and nothing held back, which tells most of the split. `gain_at`: the same with shares
    0..1 of the sky kept. `film_gain_ev`: with the program's own settings. `false_cuts`: moves seen where there are none.
    """

    gain_ev: Floats
    gain_at: dict[float, Floats]
    film_gain_ev: Floats
    shot_light: ShotLight
    false_cuts: int


def run_program(night: Night) -> Made:
    """Return what the program makes of `night`."""
    measures = [measure_frame(codes, decoded(codes), srgb=True) for codes in night.codes]
    shot = Shot(0, len(measures) - 1)
    cuts = len(at_moves(shot, night.frames, measures)) - 1
    shot_light = light_of_shot(shot, night.frames, measures, look=_Pictures(night))
    kept = {
        share: _gain(night, shot_light, LightSettings(sky_kept=share, brightness_ev=_FAR_DOWN_EV)) - _FAR_DOWN_EV
        for share in (1.0, 0.6, 0.0)
    }
    return Made(kept[1.0], kept, _gain(night, shot_light, LightSettings()), shot_light, cuts)


@dataclass(frozen=True, slots=True)
class _Pictures:
    """The pictures of a night as the stars are asked about them, and what they told."""

    night: Night
    told: dict[object, CandleLight] = field(default_factory=dict)

    def seen(self, number: int, responses: Sequence[Response]) -> StarPicture:
        codes = self.night.codes[number]
        levels = int(np.iinfo(codes.dtype).max) + 1
        light = through(np.repeat(srgb_table(levels)[:, None], 3, axis=1), responses) / np.float32(3)
        return star_picture(codes, light)

    def recalled(self, numbers: Sequence[int], responses: Sequence[Response]) -> CandleLight | None:
        return self.told.get((*numbers, *responses))

    def keep(self, numbers: Sequence[int], responses: Sequence[Response], told: CandleLight) -> None:
        self.told[*numbers, *responses] = told


def _gain(night: Night, shot_light: ShotLight, settings: LightSettings) -> Floats:
    film = film_light(shot_light.light, settings, fps=FPS, good=kept_frames(night, shot_light.faults))
    return np.nan_to_num(film.gain_ev)


def kept_frames(night: Night, faults: dict[int, frozenset[Fault]]) -> Bools:
    """Return the frames that the program keeps in the film, (n,)."""
    return np.array([not faults.get(i, frozenset()) & SPOILT for i in range(len(night.codes))])


def decoded(codes: Codes) -> Image:
    """Return the linear light of sRGB codes of 8 or 16 bits."""
    return srgb_table(int(np.iinfo(codes.dtype).max) + 1)[codes]


def film_picture(codes: Codes, gain_ev: float, responses: Responses = ()) -> Image:
    """Return the linear light, (h, w, 3), of a frame with its gain, as film and screen show it."""
    if codes.dtype == np.uint8:
        return decoded(apply_gain(codes, gain_ev, responses))
    return light_of_codes(codes, gain_ev, responses).astype(np.float32) / np.float32(WHITE)
