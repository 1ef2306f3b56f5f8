"""At setting changes stars and marks tell how many of a curve's stops are one stop of light."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from lapsebench.core.candles import Bend, CandleLight
from lapsebench.core.pairwise import pair_gains
from lapsebench.core.response import Origin, Response, knots, srgb_response
from lapsebench.core.response_bent import joined
from lapsebench.core.response_steps import Steps, told_steps

Floats = NDArray[np.float64]
TILES, STAR_SD = 200, 0.003
RUNS = (0.0, 1.0, -1.0, 0.5, -0.5)
MARKS = np.repeat(RUNS, 12)
PLAIN = np.array(srgb_response().ev)
AT = np.linspace(-8.0, -1.0, 10)
UNSURE = Bend(AT, np.zeros(10), 0.15**2 * np.exp(-((AT[:, None] - AT) ** 2) / 2))


def night(random: np.random.Generator, *, scale: float, sky_ev: NDArray[np.floating] | float = 0.0) -> tuple[Steps, Floats]:
    """Return the steps told of a night whose tiles are seen through a curve with `scale` times the stops, and the true.

    The camera's settings are off the marks; the sky as a whole changes as `sky_ev` says, frame by frame.
    """
    received = np.repeat(np.array(RUNS) + random.normal(0, 0.05, len(RUNS)), 12)
    light = random.normal(-5, 1, TILES) + (received + sky_ev)[:, None] + random.normal(0, 0.01, (MARKS.size, TILES))
    tiles = (scale * light).astype(np.float32)
    stars = CandleLight(
        received + random.normal(0, STAR_SD, MARKS.size), np.full(MARKS.size, STAR_SD), np.full(MARKS.size, 80)
    )
    weights = np.ones_like(tiles)
    bend = Bend(AT, np.zeros(10), np.eye(10) * 0.01**2)
    pairs = pair_gains(tiles, weights)
    steps = told_steps(tiles, weights, pairs, marks_ev=MARKS, candles=stars, bend=bend)
    return steps, np.diff(received)[np.diff(MARKS) != 0]


def test_steps_are_those_of_the_camera_whatever_the_sky_does_steadily() -> None:
    random = np.random.default_rng(2)
    steps, true = night(random, scale=1.2, sky_ev=0.1 * np.arange(MARKS.size))
    assert steps.told_ev == pytest.approx(true, abs=0.03)
    assert steps.to_ev - steps.from_ev == pytest.approx(1.2 * true, abs=0.02)
    assert steps.sd_ev.max() < 0.05


def test_steps_under_a_restless_sky_count_for_less() -> None:
    random = np.random.default_rng(3)
    calm, _ = night(random, scale=1.0)
    restless, _ = night(random, scale=1.0, sky_ev=random.normal(0, 0.2, MARKS.size))
    assert restless.sd_ev.min() > 4 * calm.sd_ev.max()


def test_marks_tell_where_stars_do_not() -> None:
    random = np.random.default_rng(4)
    tiles = (random.normal(-5, 1, TILES) + MARKS[:, None]).astype(np.float32)
    none = CandleLight(np.full(MARKS.size, np.nan), np.full(MARKS.size, np.nan), np.zeros(MARKS.size, np.intp))
    weights = np.ones_like(tiles)
    steps = told_steps(tiles, weights, pair_gains(tiles, weights), marks_ev=MARKS, candles=none, bend=UNSURE)
    assert steps.told_ev == pytest.approx(np.diff(RUNS))
    assert (steps.sd_ev > 0.1).all()


def test_without_marks_there_is_nothing_to_tell() -> None:
    tiles = np.random.default_rng(5).normal(-5, 1, (MARKS.size, TILES)).astype(np.float32)
    weights = np.ones_like(tiles)
    stars = CandleLight(MARKS, np.full(MARKS.size, 0.01), np.full(MARKS.size, 80))
    unknown = np.full(MARKS.size, np.nan)
    steps = told_steps(tiles, weights, pair_gains(tiles, weights), marks_ev=unknown, candles=stars, bend=UNSURE)
    assert [values.size for values in (steps.from_ev, steps.to_ev, steps.told_ev, steps.sd_ev)] == [0, 0, 0, 0]


@pytest.mark.parametrize("scale", [0.85, 1.1, 1.3])
def test_a_curve_whose_bend_stars_hardly_tell_has_the_scale_of_the_steps(scale: float) -> None:
    """A dusk with a few stars: they bent a curve by a fifth that tiles and marks told to some percent."""
    random = np.random.default_rng(6)
    steps, _ = night(random, scale=scale)
    bent = Response(tuple(knots()), tuple(scale * PLAIN), Origin.MEASURED)
    wrong = Bend(AT, 0.1 * (AT + 4), UNSURE.covariance)
    (found,) = joined((bent,), wrong, steps)
    among = (PLAIN > -7) & (PLAIN < -3)
    slope = np.polyfit(PLAIN[among], np.array(found.ev)[among], 1)[0]
    assert slope == pytest.approx(1, abs=0.03)
