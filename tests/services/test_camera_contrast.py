"""A camera of more contrast than sRGB, that tiles and marks can't tell from it, is found where its stars agree."""

from __future__ import annotations

import numpy as np
from nights.families import FAMILIES
from nights.meters import exposure_meters
from nights.night import Night, shoot_night
from nights.program import decoded, run_program

from lapsebench.core.response import any_estimated
from lapsebench.core.sequence import Shot
from lapsebench.imaging.proxy import measure_frame
from lapsebench.services.shotlight import light_of_shot


def curve_without_stars(night: Night) -> bool:
    """Return whether the tiles alone tell a camera curve."""
    measures = [measure_frame(codes, decoded(codes), srgb=True) for codes in night.codes]
    return any_estimated(light_of_shot(Shot(0, len(night.frames) - 1), night.frames, measures).responses)


def test_stars_and_marks_together_tell_a_curve_that_neither_tells_alone() -> None:
    night = shoot_night(FAMILIES["S-shaped, break-up"], 1)
    assert not curve_without_stars(night)
    made = run_program(night)
    assert any_estimated(made.shot_light.responses)
    met = exposure_meters(night, made.gain_ev)
    print(f"jitter {met.jitter:.4f}, step {met.step:.4f} stop (0.091 and 0.274 as sRGB)")
    assert met.jitter < 0.016
    assert met.step < 0.03


def test_clouds_that_fool_the_stars_do_not_make_a_curve() -> None:
    night = shoot_night(FAMILIES["drifting clouds"], 0)
    made = run_program(night)
    assert not any_estimated(made.shot_light.responses)
    assert np.isfinite(made.gain_ev).all()
