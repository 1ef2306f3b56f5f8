"""Stars and lamps tell the exposure that frames received, whatever the sky does."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares

from lapsebench.core.candles import candle_light
from lapsebench.core.following import Kind
from lapsebench.core.sightings import Lights, Sighting


def sightings(
    random: np.random.Generator, received_ev: np.ndarray, *, stars: int = 150, own: float = 0.03, noise: float = 0.02
) -> tuple[list[Sighting], dict[int, Kind]]:
    """Return made sightings of stars of very different light, with twinkling and noise."""
    light = 0.05 * random.pareto(1.2, stars).clip(0.2, 50)
    seen = []
    for ev in received_ev:
        exact = 2.0**ev * light
        measured = exact * (1 + random.normal(0, own, stars)) + random.normal(0, noise, stars)
        lights = Lights(measured, np.full(stars, 0.1), np.full(stars, noise), np.zeros(stars), middling(stars))
        seen.append(Sighting(np.arange(stars), lights, lights))
    return seen, dict.fromkeys(range(stars), Kind.STAR)


def middling(count: int) -> np.ndarray:
    """Return the mean place of points on the px: half-way between the midst of one and its corner."""
    return np.full(count, 1 / 3)


def off(told: np.ndarray, truth: np.ndarray) -> np.ndarray:
    """Return the errors of exposures that are known up to a constant."""
    error = told - truth
    return np.asarray(error - np.nanmedian(error))


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000), frames=st.integers(12, 120))
def test_the_exposure_is_found_within_its_stated_error(seed: int, frames: int) -> None:
    random = np.random.default_rng(seed)
    received = np.sin(np.cumsum(random.choice([0, 0, 0, 1], frames))) + random.normal(0, 0.1, frames)
    seen, kinds = sightings(random, received)
    told = candle_light(seen, kinds, received + random.normal(0, 0.3, frames))
    changes = np.diff(told.received_ev - received)
    stated = np.sqrt(told.sd_ev[1:] ** 2 + told.sd_ev[:-1] ** 2)
    assert np.sqrt(np.mean((changes / stated) ** 2)) < 1 + 4 / np.sqrt(changes.size)  # chance alone is 0.7 / sqrt(n), one sd


def test_the_stated_error_follows_the_scatter_of_the_stars_where_their_noise_was_taken_for_larger() -> None:
    random = np.random.default_rng(4)
    received = random.normal(0, 0.1, 80)
    seen, kinds = sightings(random, received, own=0.02, noise=0.01)
    feared = [Lights(one.star.light, one.star.around, 1.6 * one.star.sd, one.star.step, one.star.phase) for one in seen]
    told = candle_light([Sighting(one.number, each, each) for one, each in zip(seen, feared, strict=True)], kinds, received)
    changes = np.diff(told.received_ev - received)
    assert 0.6 < np.sqrt(np.mean(changes**2) / np.mean(2 * told.sd_ev**2)) < 1.5


@pytest.mark.parametrize("twinkling", [0.02, 0.07])
def test_how_much_stars_twinkle_is_learnt_from_them(twinkling: float) -> None:
    random = np.random.default_rng(9)
    received = random.normal(0, 0.3, 80)
    told = candle_light(*sightings(random, received, own=twinkling, noise=0.005), received)
    changes = np.diff(told.received_ev - received)
    assert 0.8 < np.sqrt(np.mean(changes**2) / np.mean(2 * told.sd_ev**2)) < 1.25


def test_stars_that_lie_between_pixels_and_look_fainter_do_not_bend_it() -> None:
    """The pixel phase of undersampled stars (Lauer, PASP 111, 1434, 1999)."""
    random = np.random.default_rng(12)
    received = random.normal(0, 0.1, 90)
    seen, kinds = sightings(random, received, stars=60, own=0.004, noise=0.002)
    start = random.random((2, 60))
    for i, one in enumerate(seen):
        place = (start + np.array([[0.37], [0.21]]) * i) % 1
        phase = (place * (1 - place)).sum(axis=0)
        light = one.star.light * (1 - 0.25 * phase)
        lights = Lights(light, one.star.around, one.star.sd, one.star.step, phase)
        seen[i] = Sighting(one.number, lights, lights)
    told = candle_light(seen, kinds, received)
    assert np.std(off(told.received_ev, received)) < 0.006


def test_a_plain_least_squares_solver_finds_the_same() -> None:
    """Against scipy.optimize.least_squares with a Cauchy loss on the same residuals."""
    random = np.random.default_rng(3)
    frames, stars = 12, 25
    received = random.normal(0, 0.3, frames)
    light = random.uniform(0.5, 2.0, stars)
    noise = 0.02
    measured = np.exp2(received)[:, None] * light + random.normal(0, noise, (frames, stars))
    lights = [Lights(row, np.full(stars, 0.1), np.full(stars, noise), np.zeros(stars), middling(stars)) for row in measured]
    seen = [Sighting(np.arange(stars), each, each) for each in lights]
    told = candle_light(seen, dict.fromkeys(range(stars), Kind.STAR), np.zeros(frames))

    def residuals(unknown: np.ndarray) -> np.ndarray:
        model = np.exp2(unknown[:frames])[:, None] * unknown[frames:]
        return np.asarray(((measured - model) / np.sqrt(noise**2 + (0.05 * model) ** 2)).ravel())

    start = np.concatenate([np.zeros(frames), measured.mean(axis=0)])
    peer = least_squares(residuals, start, loss="cauchy", f_scale=2.5).x[:frames]
    assert off(told.received_ev, peer) == pytest.approx(np.zeros(frames), abs=0.004)


def test_stars_behind_clouds_and_aeroplanes_do_not_bend_it() -> None:
    random = np.random.default_rng(8)
    received = random.normal(0, 0.1, 60)
    seen, kinds = sightings(random, received, noise=0.005)
    for i, one in enumerate(seen):
        light = one.star.light.copy()
        hidden = (np.arange(light.size) + i) % 150 < 20
        light[hidden] *= random.uniform(0.2, 1.8, hidden.sum())
        seen[i] = Sighting(one.number, Lights(light, one.star.around, one.star.sd, one.star.step, one.star.phase), one.lamp)
    told = candle_light(seen, kinds, np.zeros(60))
    assert np.std(off(told.received_ev, received)) < 0.01


def test_lamps_tell_it_though_the_ground_around_them_brightens_with_the_sky() -> None:
    random = np.random.default_rng(2)
    frames, lamps = 80, 16
    received = random.normal(0, 0.1, frames)
    sky = np.exp2(3 * np.sin(np.arange(frames) / 9))
    texture, light = random.uniform(-0.3, 0.3, lamps), random.uniform(0.5, 3.0, lamps)
    seen = []
    for ev, level in zip(received, sky, strict=True):
        around = 2.0**ev * level * 0.5 * np.ones(lamps)
        measured = 2.0**ev * light + texture * around + random.normal(0, 0.01, lamps)
        lights = Lights(measured, around, np.full(lamps, 0.01), np.zeros(lamps), middling(lamps))
        nowhere = Lights(np.full(lamps, np.nan), around, np.full(lamps, 0.01), np.zeros(lamps), middling(lamps))
        seen.append(Sighting(np.arange(lamps), nowhere, lights))
    told = candle_light(seen, dict.fromkeys(range(lamps), Kind.LAMP), np.zeros(frames))
    assert np.std(np.diff(off(told.received_ev, received))) < 0.02


def test_bright_ground_is_no_lamp() -> None:
    random = np.random.default_rng(6)
    frames, spots = 80, 40
    sky = np.exp2(2 * np.sin(np.arange(frames) / 9))
    texture = random.uniform(0.1, 0.5, spots)
    seen = []
    for level in sky:
        around = level * np.ones(spots)
        lights = Lights(
            texture * around * (1 + random.normal(0, 0.01, spots)),
            around,
            np.full(spots, 0.01),
            np.zeros(spots),
            middling(spots),
        )
        seen.append(
            Sighting(np.arange(spots), Lights(np.full(spots, np.nan), around, around, around, middling(spots)), lights)
        )
    told = candle_light(seen, dict.fromkeys(range(spots), Kind.LAMP), np.zeros(frames))
    assert np.isnan(told.received_ev).all()


def test_nothing_seen_tells_nothing() -> None:
    told = candle_light([None, None, None], {}, np.zeros(3))
    assert np.isnan(told.received_ev).all()
    assert not told.count.any()


def test_where_no_star_is_seen_on_both_sides_of_a_gap_the_guess_tells_the_step() -> None:
    random = np.random.default_rng(9)
    before, kinds = sightings(random, random.normal(0, 0.1, 30))
    after, _ = sightings(random, random.normal(0, 0.1, 30))
    others = [Sighting(one.number + 1000, one.star, one.lamp) for one in after]
    kinds |= dict.fromkeys(range(1000, 1150), Kind.STAR)
    told = candle_light([*before, *others], kinds, np.repeat([0.0, 2.0], 30))
    assert np.median(told.received_ev[30:]) - np.median(told.received_ev[:30]) == pytest.approx(2.0, abs=0.1)


def test_what_a_handful_of_drowned_stars_tell_is_not_told() -> None:
    """Five faint stars were half a stop off, and the frame, of which tiles knew nothing, took it from them."""
    random = np.random.default_rng(5)
    received = random.normal(0, 0.05, 40)
    seen, kinds = sightings(random, received, stars=60, noise=0.01)
    few = np.argsort(seen[20].star.light)[25:30]
    drowned = np.full(60, np.nan)
    drowned[few] = seen[20].star.light[few] + random.normal(0, 1.0, 5)
    lights = Lights(drowned, seen[20].star.around, np.ones(60), np.zeros(60), middling(60))
    seen[20] = Sighting(seen[20].number, lights, lights)
    told = candle_light(seen, kinds, received)
    assert np.isnan(told.received_ev[20])
    assert np.isnan(told.sd_ev[20])
    assert np.isfinite(np.delete(told.received_ev, 20)).all()


def test_fewer_than_a_dozen_points_tell_nothing() -> None:
    """Eight points of an aurora's rays that passed for stars drifted by 0.1 stop a frame, and a calm night with them."""
    random = np.random.default_rng(1)
    received = np.zeros(40)
    few, many = (candle_light(*sightings(random, received, stars=stars, noise=0.001), received) for stars in (8, 16))
    assert np.isnan(few.received_ev).all()
    assert np.isfinite(many.received_ev).all()
