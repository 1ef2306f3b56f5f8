"""Stars and tiles find the camera's curve together: asked once more where it was much bent, and never for ever."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import pytest
from nights.families import FAMILIES
from nights.meters import exposure_meters
from nights.night import shoot_night
from nights.program import run_program
from numpy.typing import NDArray

from lapsebench.core.candles import Bend, CandleLight
from lapsebench.core.response import Origin, Response, any_estimated, knots, srgb_response
from lapsebench.core.separation import Evidence, Light, separate
from lapsebench.services.metering import Metering
from lapsebench.services.starcurve import Asking, View, with_stars

Floats = NDArray[np.float64]
N, TILES = 30, 60
PLAIN = np.array(srgb_response().ev)
MARKS = np.where(np.arange(N) < N // 2, 0.0, -1.0)
AT = np.linspace(-6.0, -1.0, 10)


def curve(scale: float) -> tuple[Response, ...]:
    """Return a measured curve whose stops are `scale` times those of sRGB."""
    return (Response(tuple(knots()), tuple(scale * PLAIN), Origin.MEASURED, changes=5),) * 3


def scale_of(responses: tuple[Response, ...]) -> float:
    """Return how many stops of the responses are one of light."""
    return float(np.ptp(responses[1].ev[10:]) / np.ptp(PLAIN[10:]))


def view(responses: tuple[Response, ...]) -> View:
    """Return a calm shot with one setting change as seen through `responses`."""
    random = np.random.default_rng(1)
    light = random.normal(-4, 1, TILES) + MARKS[:, None] + random.normal(0, 0.01, (N, TILES))
    tiles = (scale_of(responses) * light).astype(np.float32)
    evidence = Evidence(
        log_tiles=tiles,
        weights=np.ones_like(tiles),
        exposure_ev=MARKS,
        settings=tuple(MARKS.tolist()),
        after_gap=np.zeros(N, bool),
        luminance_ev=tiles.mean(axis=1, dtype=float),
        clipped=np.zeros(N),
        highlight_ev=np.full(N, -1.0),
    )
    return View(evidence, responses, np.zeros((N, 3)), Metering())


@dataclass
class Stars:
    """Stars that see how much the curve's scale is off by, and write down through which curves they were asked."""

    off: float = 0.0
    by_marks: bool = False
    asked: list[tuple[Response, ...]] = field(default_factory=list)
    kept: list[tuple[Response, ...]] = field(default_factory=list)

    def ask(self, _: Light, *, responses: tuple[Response, ...], known: CandleLight | None) -> CandleLight:
        """Return what they tell; the bend is that of light^scale."""
        if known is not None:
            return known
        self.asked.append(responses)
        scale = scale_of(responses) + self.off
        bend = Bend(
            AT, (scale - 1) / scale * np.log(2) * AT, np.eye(AT.size) * 0.01**2, np.zeros((N, AT.size)), self.by_marks
        )
        return CandleLight(MARKS, np.full(N, 0.01), np.full(N, 50), bend)


def together(stars: Stars, start: tuple[Response, ...], tiles_tell: tuple[Response, ...]) -> View:
    """Return the view that stars and tiles arrive at."""
    asking = Asking(
        ask=stars.ask,
        told=lambda _: tiles_tell,
        seen=view,
        keep=lambda _, responses: stars.kept.append(responses),
    )
    begun = view(start)
    return with_stars(begun, separate(begun.evidence), asking)[0]


def test_stars_are_asked_once_more_through_the_curve_that_they_straightened() -> None:
    stars = Stars()
    found = together(stars, curve(1.2), curve(1.2))
    assert len(stars.asked) == 2
    slope = np.ptp(np.array(found.responses[1].ev)[10:60]) / np.ptp(PLAIN[10:60])
    assert slope == pytest.approx(1, abs=0.03)


def test_a_curve_that_is_nearly_straight_is_straightened_without_asking_again() -> None:
    stars = Stars()
    found = together(stars, curve(1.02), curve(1.02))
    assert len(stars.asked) == 1
    assert stars.kept == [found.responses]


def test_stars_that_never_agree_are_asked_three_times_at_most() -> None:
    stars = Stars(off=0.5)
    together(stars, curve(1.2), curve(1.2))
    assert len(stars.asked) == 3


def test_what_stars_see_and_tiles_do_not_leaves_srgb() -> None:
    stars = Stars(off=0.3)
    found = together(stars, (srgb_response(),) * 3, (srgb_response(),) * 3)
    assert found.responses == (srgb_response(),) * 3
    assert len(stars.asked) == 1


def test_what_stars_see_and_the_marks_bear_out_is_a_curve_though_tiles_do_not_see_it() -> None:
    stars = Stars(by_marks=True)
    contrasty = (replace(srgb_response(), ev=tuple(1.25 * PLAIN)),) * 3  # of light that is not sRGB but was taken for it
    found = together(stars, contrasty, (srgb_response(),) * 3)
    assert any_estimated(found.responses)
    assert scale_of(found.responses) == pytest.approx(1, abs=0.05)


def test_two_setting_changes_are_enough_where_stars_and_marks_agree() -> None:
    """It passed for sRGB, and true exposure was 0.24 stop off at changes."""
    night = shoot_night(FAMILIES["lifted, moonrise"], 3)
    made = run_program(night)
    met = exposure_meters(night, made.gain_ev)
    print(f"jitter {met.jitter:.4f}, step {met.step:.4f}")
    assert any_estimated(made.shot_light.responses)
    assert met.jitter < 0.016
    assert met.step < 0.06


def test_the_curve_of_a_break_up_is_found_to_some_percent() -> None:
    """Its slope from deep shadows to bright light, and the exposures with it."""
    night = shoot_night(FAMILIES["lifted, break-up"], 1)
    made = run_program(night)
    light = np.exp2(np.arange(-6.5, -1.0, 0.5))
    codes = np.asarray(night.camera.curve(np.repeat(light[:, None], 3, axis=1)[None]))[0, :, 1]
    found = made.shot_light.responses[1]
    slopes = np.diff(found.stops(codes)) / 0.5
    met = exposure_meters(night, made.gain_ev)
    print(f"slopes {slopes.round(2)}, jitter {met.jitter:.4f}, step {met.step:.4f}")
    assert slopes == pytest.approx(1, abs=0.05)
    assert met.jitter < 0.016
    assert met.step < 0.03


def test_a_handful_of_stars_does_not_bend_a_curve_that_tiles_and_marks_tell() -> None:
    """Fifteen stars of a small dusk told steps a fifth too large: true exposure was 0.14 stop off at changes."""
    night = shoot_night(FAMILIES["shoulder, dusk"], 4)
    made = run_program(night)
    met = exposure_meters(night, made.gain_ev)
    print(f"jitter {met.jitter:.4f}, step {met.step:.4f}")
    assert met.step < 0.06
