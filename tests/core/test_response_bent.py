"""Stars straighten an estimated curve: their light is constant, and its height in codes goes by the curve's slope."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.optimize import least_squares

from lapsebench.core.candles import Bend, Curve, candle_light, through
from lapsebench.core.following import Kind
from lapsebench.core.response import Origin, Response, knots, srgb_response
from lapsebench.core.response_bent import joined, unbent
from lapsebench.core.response_steps import Steps
from lapsebench.core.sightings import Lights, Sighting
from lapsebench.core.transfer import srgb_to_linear

Floats = NDArray[np.float64]
FRAMES, STARS = 90, 200
PLAIN = np.log2(srgb_to_linear(knots()))


def too_steep(stops: Floats) -> Floats:
    """Return how much too steep the curve is, natural log, at light of so many stops as it sees it."""
    return 0.03 * (stops + 4)


def bent_by(around: Floats, light: Floats, times: float) -> Floats:
    """Return how much too bright stars of so much `light` seem over the light `around`, a factor, `times` as bent.

    Their image is a Gaussian, whose light lies logarithmically between its foot and its top: as many stops are lost or won
    at each height as the curve is too steep there.
    """
    share = (np.arange(60) + 0.5) / 60
    weight = np.log(1 / share)
    levels = np.log2(around + 5 * light * share[:, None])
    return np.asarray(np.average(np.exp(times * too_steep(levels)), axis=0, weights=weight))


def night(
    random: np.random.Generator, received_ev: Floats, *, times: float = 1.0, uneven_ev: float = 2.5, own: float = 0.02
) -> tuple[list[Sighting], dict[int, Kind]]:
    """Return stars seen through a bent curve before curtains of light that come and go, elsewhere at other times.

    What a star has more or less than usual for a frame, some percent, is in the light around it as well: kernels overlap.
    """
    light = 0.002 * random.pareto(1.2, STARS).clip(0.2, 20)
    sky_ev = -6 + 2.5 * np.exp(-(((np.arange(FRAMES) - 50) / 12) ** 2)) + random.normal(0, 0.1, FRAMES)
    curtains = gaussian_filter1d(random.normal(0, uneven_ev, (FRAMES, STARS)), 4, axis=0)
    seen = []
    for ev, sky, uneven in zip(received_ev, sky_ev, curtains, strict=True):
        around = 2.0 ** (ev + sky + uneven)
        true = 2.0**ev * light
        seems = true * bent_by(around, true, times)
        measured = seems * (1 + random.normal(0, own, STARS))
        noise = np.full(STARS, 2e-5)
        seen_around = around + 0.35 * (measured - seems)
        lights = Lights(measured + random.normal(0, noise), seen_around, noise, np.zeros(STARS), np.full(STARS, 1 / 3))
        seen.append(Sighting(np.arange(STARS), lights, lights))
    return seen, dict.fromkeys(range(STARS), Kind.STAR)


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_setting_changes_are_told_through_a_curve_that_is_some_percent_off(seed: int) -> None:
    random = np.random.default_rng(seed)
    received = np.repeat([0.0, 1.0, -1.0, 0.5], [20, 30, 20, 20]) + random.normal(0, 0.03, FRAMES)
    seen, kinds = night(random, received)
    bent, straight = (candle_light(seen, kinds, received, curve=curve) for curve in (Curve.LINEAR, Curve.ESTIMATED))
    changes = [np.abs(np.diff(told.received_ev - received)[[19, 49, 69]]).max() for told in (bent, straight)]
    assert changes[0] > 0.04
    assert changes[1] < 0.015
    assert straight.bend is not None
    off = straight.bend.slope - too_steep(straight.bend.at_ev)
    assert np.std(off) < 0.02
    assert bent.bend is None


def test_stars_tell_of_another_curve_than_the_assumed_one_only_where_it_is() -> None:
    random = np.random.default_rng(5)
    received = np.repeat([0.0, 1.0, -1.0, 0.5], [20, 30, 20, 20])
    bent, straight = (
        candle_light(*night(random, received, times=times), received, curve=Curve.ASSUMED) for times in (3.0, 0.0)
    )
    assert bent.bend is not None
    assert np.std(bent.bend.slope - 3 * too_steep(bent.bend.at_ev)) < 0.04
    assert straight.bend is None
    assert np.diff(straight.received_ev) == pytest.approx(np.diff(received), abs=0.02)


def test_marks_bear_out_the_curve_that_stars_see_or_do_not() -> None:
    random = np.random.default_rng(5)
    received = np.repeat([0.0, 1.5, -1.5, 0.5], [20, 30, 20, 20])
    seen, kinds = night(random, received, times=4.0)
    true, wrong = received + 0.03, 1.35 * received
    told = [
        candle_light(seen, kinds, received, curve=Curve.ASSUMED, marks_ev=marks)
        for marks in (true, wrong, np.full(FRAMES, np.nan))
    ]
    bends = [each.bend for each in told]
    assert [bend is not None and bend.by_marks for bend in bends] == [True, False, False]


def test_what_stars_have_more_than_usual_is_no_slope_of_the_curve() -> None:
    """A sky nearly the same all over, as under the Moon: by the light around as measured it was 3 % a stop too steep."""
    random = np.random.default_rng(11)
    received = np.repeat([0.0, 1.0, -1.0, 0.5], [20, 30, 20, 20])
    told = candle_light(*night(random, received, times=0.0, uneven_ev=0.3, own=0.06), received, curve=Curve.ESTIMATED)
    assert told.bend is not None
    tilt = np.polyfit(told.bend.at_ev, told.bend.slope, 1)[0]
    assert abs(tilt) < 0.012


def test_through_the_right_curve_stars_tell_the_exposures_that_they_could_not_tell_from_its_tilt() -> None:
    """A dusk that the photographer follows: the sky as bright in codes from first to last, while exposures rise 4 stops."""
    random = np.random.default_rng(3)
    received = np.repeat(np.arange(5.0), 18)
    light = 0.004 * random.pareto(1.2, STARS).clip(0.2, 20)
    seen = []
    for ev in received:
        around = 2.0**-4.5 * np.exp2(random.normal(0, 0.2, STARS))
        true = 2.0 ** (ev - 4) * light
        measured = true * bent_by(around, true, 1.0) * (1 + random.normal(0, 0.03, STARS))
        noise = np.full(STARS, 4e-5)
        lights = Lights(measured + random.normal(0, noise), around, noise, np.zeros(STARS), np.full(STARS, 1 / 3))
        seen.append(Sighting(np.arange(STARS), lights, lights))
    told = candle_light(seen, dict.fromkeys(range(STARS), Kind.STAR), received, curve=Curve.ESTIMATED)
    assert told.bend is not None
    right = through(told, too_steep(told.bend.at_ev))
    assert np.polyfit(received, right.received_ev, 1)[0] == pytest.approx(1, abs=0.01)
    level = through(told, np.zeros(told.bend.at_ev.size))
    straight = candle_light(seen, dict.fromkeys(range(STARS), Kind.STAR), received, curve=Curve.LINEAR)
    assert np.ptp(level.received_ev - straight.received_ev) < 0.05  # as if no bend had been asked for


def bend_at(at: Floats, slope: Floats, sd: float = 0.01) -> Bend:
    """Return a bend that stars tell as surely as `sd`, natural log."""
    return Bend(at, slope, np.eye(at.size) * sd**2, np.zeros((FRAMES, at.size)))


NO_STEPS = Steps(np.zeros(0), np.zeros(0), np.zeros(0), np.zeros((0, 0)), np.zeros((0, 10)))


def bent_response() -> Response:
    """Return sRGB made too steep as `too_steep` says, and known to be estimated."""
    stops = (PLAIN[1:] + PLAIN[:-1]) / 2
    rise = np.diff(np.exp2(PLAIN)) * np.exp(too_steep(stops))
    light = np.exp2(PLAIN[0]) * np.exp(too_steep(stops[:1])) + np.concatenate([[0.0], np.cumsum(rise)])
    ev = np.log2(light / light[-1])
    return Response(tuple(knots()), tuple(ev), Origin.MEASURED, changes=5)


def test_the_curve_is_straight_once_its_bend_is_taken_out() -> None:
    bent = bent_response()
    at = np.linspace(-9.0, 0.0, 30)
    told = unbent(bent, bend_at(np.interp(at, PLAIN, bent.ev), too_steep(at)))
    assert told is not None
    assert np.abs(np.array(bent.ev) - PLAIN).max() > 0.3
    assert np.abs(np.array(told.ev) - PLAIN)[8:].max() < 0.05


def test_curves_that_are_straight_are_left() -> None:
    at = np.linspace(-8.0, -1.0, 8)
    assert unbent(bent_response(), bend_at(at, np.full(8, 0.2))) is None  # a common factor of all light bends nothing
    assert unbent(bent_response(), None) is None


def test_of_srgb_it_is_a_hint_of_the_curve_that_stars_see() -> None:
    at = np.linspace(-8.0, -1.0, 8)
    told = unbent(srgb_response(), bend_at(at, 0.05 * at))
    assert told is not None
    assert np.abs(np.array(told.ev) - PLAIN).max() > 0.1
    assert unbent(srgb_response(), bend_at(at, np.full(8, 0.2))) is None


@pytest.mark.parametrize("scale", [0.85, 1.15])
def test_the_curve_has_the_shape_that_tiles_tell_and_the_scale_that_stars_tell(scale: float) -> None:
    """Too much contrast at all codes, seen by stars over five of its stops, each a little wrong of the slope there."""
    bent = Response(tuple(knots()), tuple(scale * PLAIN), Origin.MEASURED)
    at = np.linspace(-7.0, -2.0, 10)
    wrong = np.random.default_rng(3).normal(0, 0.03, at.size)
    bend = bend_at(at, (scale - 1) / scale * np.log(2) * at + wrong)  # light^scale rises so much too fast
    straight = unbent(bent, bend)
    assert straight is not None
    whole = joined((bent,) * 3, bend, NO_STEPS)

    def slopes(response: Response) -> Floats:
        places = np.searchsorted(PLAIN, np.arange(-9.5, -0.5, 0.5))
        return np.asarray(np.diff(np.array(response.ev)[places]) / np.diff(PLAIN[places]))

    assert np.abs(slopes(straight) - 1).max() > 0.14
    assert slopes(whole[0])[:-4] == pytest.approx(1, abs=0.04)
    assert slopes(whole[0])[-4:] == pytest.approx(1, abs=0.1)  # near white tiles clip: there stars tell alone
    assert [response.ev[-1] for response in whole] == [0, 0, 0]


def test_bends_that_lie_beyond_white_or_black_do_no_harm() -> None:
    bent = bent_response()
    at = np.linspace(-14.0, 1.5, 10)
    bend = bend_at(at, too_steep(at))
    whole = joined((bent,) * 3, bend, NO_STEPS)
    assert np.diff(whole[0].ev).min() > 0
    assert np.isfinite(whole[0].ev).all()


@pytest.mark.parametrize("seed", range(5))
def test_a_plain_least_squares_solver_joins_the_same_curve(seed: int) -> None:
    """Against scipy.optimize.least_squares on the same terms: a random bend, random steps, random slopes of the tiles."""
    random = np.random.default_rng(seed)
    at = np.linspace(-6.5, -1.2, 10)
    noise = random.normal(0, 0.03, (10, 10))
    slope = random.normal(0, 0.1) * at + random.normal(0, 0.03, at.size)
    bend = Bend(at, slope, noise @ noise.T, np.zeros((FRAMES, at.size)))
    start, change, off = random.uniform(-6, -3, 8), random.uniform(0.3, 2, 8), random.normal(0, 0.05, (8, 8))
    covariance = off @ off.T + np.diag(random.uniform(0.03, 0.2, 8) ** 2)
    by_slope = random.normal(0, 0.1, (8, at.size))
    steps = Steps(start, start + change, change * random.normal(1, 0.1, 8), covariance, by_slope)
    slopes = np.exp(gaussian_filter1d(random.normal(0, 0.3, PLAIN.size - 1), 9))
    shape = -np.cumsum((np.diff(PLAIN) * slopes)[::-1])[::-1]
    bent = Response(tuple(knots()), (*shape.tolist(), 0.0), Origin.MEASURED)
    (found,) = joined((bent,), bend, steps)

    codes, ev, rises = knots(), np.array(bent.ev), np.diff(bent.ev)
    half = (at[1] - at[0]) / 2
    edges = np.interp(np.append(at - half, at[-1] + half), bent.ev, codes)
    awaited = np.log(np.diff(np.exp2(np.interp(edges, codes, bent.ev)))) - bend.slope
    more_sd = np.where(np.isin(np.arange(at.size), [0, 9]), 0.09, 0.03)
    both = bend.covariance + np.diag(more_sd**2)
    whiten, whiten_steps = (np.linalg.inv(np.linalg.cholesky(each)) for each in (both, covariance))
    with_bend, sd = by_slope @ bend.covariance @ np.linalg.inv(both), np.sqrt(np.diag(covariance))
    walk = np.where((at[1:] + at[:-1]) / 2 > -3, 0.2, 0.03) * np.sqrt(np.diff(at))
    ends = [np.interp(level, bent.ev, codes) for level in (steps.from_ev, steps.to_ev)]

    def risen(more: Floats) -> Floats:
        return np.concatenate([[0.0], np.cumsum(rises * np.exp(np.interp((ev[1:] + ev[:-1]) / 2, at, more)))])

    def residuals(unknown: Floats, sure: Floats) -> Floats:
        more, common = unknown[:-1], unknown[-1]
        curve = risen(more)
        rise = np.log(np.diff(np.exp2(np.interp(edges, codes, curve))))
        terms = whiten @ (awaited - rise - common), np.diff(more) / walk, [more.mean() / 0.3]
        return np.concatenate([*terms, whiten_steps @ (missed(curve) * np.sqrt(sure))])

    def missed(curve: Floats) -> Floats:
        told = steps.told_ev + with_bend @ (awaited - np.log(np.diff(np.exp2(np.interp(edges, codes, curve)))))
        return np.asarray(told - np.interp(ends[1], codes, curve) + np.interp(ends[0], codes, curve))

    unknown = np.zeros(11)
    for _ in range(12):  # a Cauchy loss by weights
        sure = 1 / (1 + (missed(risen(unknown[:-1])) / (2 * sd)) ** 2)
        unknown = least_squares(residuals, unknown, args=(sure,), x_scale="jac").x
    peer = risen(unknown[:-1])
    assert np.array(found.ev) == pytest.approx(peer - peer[-1], abs=3e-3)
