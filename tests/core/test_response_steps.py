"""At setting changes stars and marks tell how many of a curve's stops are one stop of light."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from lapsebench.core.candles import Bend, CandleLight, through
from lapsebench.core.pairwise import pair_gains
from lapsebench.core.response import Origin, Response, knots, srgb_response
from lapsebench.core.response_bent import joined, too_steep
from lapsebench.core.response_steps import Steps, told_steps
from lapsebench.core.separation import Evidence

Floats = NDArray[np.float64]
TILES, STAR_SD = 200, 0.003
RUNS = (0.0, 1.0, -1.0, 0.5, -0.5)
MARKS = np.repeat(RUNS, 12)
CHANGES = len(RUNS) - 1
PLAIN = np.array(srgb_response().ev)
AT = np.linspace(-8.0, -1.0, 10)
NOTHING = np.zeros((MARKS.size, 10))
UNSURE = Bend(AT, np.zeros(10), 0.15**2 * np.exp(-((AT[:, None] - AT) ** 2) / 2), NOTHING)
NO_STARS = CandleLight(np.full(MARKS.size, np.nan), np.full(MARKS.size, np.nan), np.zeros(MARKS.size, np.intp))


def evidence(tiles: Floats, marks: Floats = MARKS) -> Evidence:
    """Return the evidence of a shot of these tiles."""
    log_tiles = tiles.astype(np.float32)
    none = np.zeros(marks.size)
    return Evidence(log_tiles, np.ones_like(log_tiles), marks, tuple(marks.tolist()), none > 0, none, none, none)


def told(seen: Evidence, stars: CandleLight, bend: Bend) -> Steps:
    """Return the steps told."""
    return told_steps(seen, pair_gains(seen.log_tiles, seen.weights), candles=stars, bend=bend)


def sd_of(steps: Steps) -> Floats:
    """Return the standard error of each step."""
    return np.sqrt(np.diag(steps.covariance))


def shot(
    random: np.random.Generator, *, scale: float, sky_ev: NDArray[np.floating] | float = 0.0
) -> tuple[Evidence, CandleLight, Floats]:
    """Return a night whose tiles are seen through a curve with `scale` times the stops, what stars tell, and the truth.

    The camera's settings are off the marks; the sky as a whole changes as `sky_ev` says, frame by frame.
    """
    received = np.repeat(np.array(RUNS) + random.normal(0, 0.05, len(RUNS)), 12)
    light = random.normal(-5, 1, TILES) + (received + sky_ev)[:, None] + random.normal(0, 0.01, (MARKS.size, TILES))
    stars = CandleLight(
        received + random.normal(0, STAR_SD, MARKS.size), np.full(MARKS.size, STAR_SD), np.full(MARKS.size, 80)
    )
    return evidence(scale * light), stars, received


def night(random: np.random.Generator, *, scale: float, sky_ev: NDArray[np.floating] | float = 0.0) -> tuple[Steps, Floats]:
    """Return the steps told of such a night, and the true ones."""
    seen, stars, received = shot(random, scale=scale, sky_ev=sky_ev)
    bend = Bend(AT, np.zeros(10), np.eye(10) * 0.01**2, NOTHING)
    return told(seen, stars, bend), np.diff(received)[np.diff(MARKS) != 0]


def test_steps_are_those_of_the_camera_whatever_the_sky_does_steadily() -> None:
    random = np.random.default_rng(2)
    steps, true = night(random, scale=1.2, sky_ev=0.1 * np.arange(MARKS.size))
    assert steps.told_ev[:CHANGES] == pytest.approx(true, abs=0.03)  # the stars'
    assert steps.told_ev[CHANGES:] == pytest.approx(np.diff(RUNS))  # the marks'
    assert steps.to_ev - steps.from_ev == pytest.approx(1.2 * np.tile(true, 2), abs=0.02)
    assert sd_of(steps)[:CHANGES].max() < 0.05


def test_steps_under_a_restless_sky_count_for_less() -> None:
    random = np.random.default_rng(3)
    calm, _ = night(random, scale=1.0)
    restless, _ = night(random, scale=1.0, sky_ev=random.normal(0, 0.2, MARKS.size))
    assert sd_of(restless).min() > 4 * sd_of(calm)[:CHANGES].max()


def test_marks_tell_where_stars_do_not() -> None:
    random = np.random.default_rng(4)
    steps = told(evidence(random.normal(-5, 1, TILES) + MARKS[:, None]), NO_STARS, UNSURE)
    assert steps.told_ev == pytest.approx(np.diff(RUNS))
    assert (sd_of(steps) > 0.07).all()


def test_what_marks_are_off_by_does_not_add_up_over_a_dusk() -> None:
    """From the first setting to the last they are off by two settings' biases, however many changes lie between."""
    marks = np.repeat(np.arange(8.0), 12)
    random = np.random.default_rng(7)
    seen = evidence(random.normal(-8, 1, TILES) + marks[:, None] + random.normal(0, 0.001, (marks.size, TILES)), marks)
    none = CandleLight(np.full(marks.size, np.nan), np.full(marks.size, np.nan), np.zeros(marks.size, np.intp))
    steps = told(seen, none, Bend(AT, np.zeros(10), np.eye(10), np.zeros((marks.size, 10))))
    whole = float(np.sqrt(steps.covariance.sum()))
    assert whole < 1.5 * sd_of(steps).max()
    assert whole < 0.15


def test_without_marks_there_is_nothing_to_tell() -> None:
    tiles = np.random.default_rng(5).normal(-5, 1, (MARKS.size, TILES))
    stars = CandleLight(MARKS, np.full(MARKS.size, 0.01), np.full(MARKS.size, 80))
    steps = told(evidence(tiles, np.full(MARKS.size, np.nan)), stars, UNSURE)
    assert [values.size for values in (steps.from_ev, steps.to_ev, steps.told_ev, steps.covariance)] == [0, 0, 0, 0]


@pytest.mark.parametrize("scale", [0.85, 1.1, 1.3])
def test_a_curve_whose_bend_stars_hardly_tell_has_the_scale_of_the_steps(scale: float) -> None:
    """A dusk with a few stars: they bent a curve by a fifth that tiles and marks told to some percent."""
    random = np.random.default_rng(6)
    steps, _ = night(random, scale=scale)
    bent = Response(tuple(knots()), tuple(scale * PLAIN), Origin.MEASURED)
    wrong = Bend(AT, 0.1 * (AT + 4), UNSURE.covariance, NOTHING)
    (found,) = joined((bent,), wrong, steps)
    among = (PLAIN > -7) & (PLAIN < -3)
    slope = np.polyfit(PLAIN[among], np.array(found.ev)[among], 1)[0]
    assert slope == pytest.approx(1, abs=0.03)


def test_exposures_that_stars_bent_together_with_the_curve_are_put_right_by_marks() -> None:
    """A calm dusk: stars as bright in codes throughout, so a tilt of the curve passes for a scale of the exposures."""
    random = np.random.default_rng(8)
    tilt = AT - AT.mean()
    tilted = 0.035
    seen, stars, received = shot(random, scale=1.0)
    by_slope = -1.4 * received[:, None] * tilt / (tilt @ tilt)
    covariance = np.eye(10) * 0.005**2 + 0.1**2 * np.outer(tilt, tilt)
    stars = CandleLight(
        stars.received_ev - 1.4 * tilted * received,
        stars.sd_ev,
        stars.count,
        Bend(AT, tilted * tilt, covariance, by_slope),
    )
    assert stars.bend is not None
    response = Response(tuple(knots()), tuple(PLAIN), Origin.MEASURED)
    (found,) = joined((response,), stars.bend, told(seen, stars, stars.bend))
    right = through(stars, too_steep(response, stars.bend, found))
    before, after, marked = (np.polyfit(received, told, 1)[0] for told in (stars.received_ev, right.received_ev, MARKS))
    print(f"exposures {before:.3f}, put right {after:.3f}, marks {marked:.3f} times the true ones")
    assert before < 0.96
    assert after == pytest.approx(marked, abs=0.015)
