"""Film light: the camera's steps are gone, the sky's slow change follows `sky_kept`, its fast change stays whole."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from lapsebench.core.filmlight import HIGHLIGHT_LIMIT_EV, LightSettings, Peg, film_light
from lapsebench.core.separation import Light

Floats = NDArray[np.float64]
N, FPS = 600, 25.0


def night(scene: Floats, received: Floats, flicker: Floats | None = None) -> Light:
    zeros = np.zeros(scene.size)
    flicker = zeros if flicker is None else flicker
    dim = np.full(scene.size, -20.0)
    return Light(received, scene + received, received, scene, flicker, zeros.astype(bool), zeros, dim, zeros)


def steps(seed: int = 1) -> Floats:
    """Return a staircase of exposure with flicker, stops, (N,)."""
    random = np.random.default_rng(seed)
    return np.repeat(random.choice([-1, 0, 1, 1 / 3], N // 50).cumsum(), 50) + random.normal(0, 0.04, N)


ALL = np.ones(N, bool)


@pytest.mark.parametrize("sky_kept", [0.0, 0.25, 0.6, 1.0])
def test_slow_scene_change_reaches_the_film_as_far_as_asked(sky_kept: float) -> None:
    scene = 2.0 * np.sin(2 * np.pi * np.arange(N) / N)
    film = film_light(night(scene, steps()), LightSettings(sky_kept=sky_kept, ramp_s=1.0), fps=FPS, good=ALL)
    swing = np.ptp(film.film_ev[50:-50]) / np.ptp(scene[50:-50])
    assert swing == pytest.approx(sky_kept, abs=0.02)


@pytest.mark.parametrize("sky_kept", [0.0, 0.6, 1.0])
def test_pulsating_light_keeps_its_contrast(sky_kept: float) -> None:
    """Patches that pulsate with 8 s seen every 3 s (2 to 20 s is the range of pulsating aurora) are no flicker."""
    pulse = 0.3 * np.sin(2 * np.pi * np.arange(N) * 3 / 8)
    film = film_light(night(pulse, steps()), LightSettings(sky_kept=sky_kept), fps=FPS, good=ALL)
    inner = slice(50, -50)
    kept = np.dot(film.film_ev[inner] - film.film_ev[inner].mean(), pulse[inner]) / np.dot(pulse[inner], pulse[inner])
    assert kept == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize("ramp_s", [0.5, 2.0, 8.0])
def test_virtual_exposure_is_smooth_over_the_ramp(ramp_s: float) -> None:
    scene = np.where(np.arange(N) < N // 2, 0.0, 4.0)
    film = film_light(night(scene, steps()), LightSettings(sky_kept=0.0, ramp_s=ramp_s), fps=FPS, good=ALL)
    assert np.abs(np.diff(film.virtual_ev)).max() < 4.5 / (ramp_s * FPS) * 2.5
    assert np.allclose(film.virtual_ev, film.gain_ev + steps())


def test_longer_ramps_turn_slower() -> None:
    scene = np.where(np.arange(N) < N // 2, 0.0, 4.0)
    turns = [
        np.abs(np.diff(film_light(night(scene, steps()), LightSettings(0.0, s), fps=FPS, good=ALL).virtual_ev)).max()
        for s in (1.0, 2.0, 4.0)
    ]
    assert turns[0] > 1.5 * turns[1] > 2 * turns[2]


def test_a_steady_night_is_left_alone() -> None:
    film = film_light(night(np.full(N, -5.0), np.zeros(N)), LightSettings(), fps=FPS, good=ALL)
    assert np.abs(film.gain_ev).max() < 1e-6


def test_pegs_are_met_and_bend_the_curve_smoothly() -> None:
    scene = np.sin(np.arange(N) / 60)
    free = film_light(night(scene, steps()), LightSettings(), fps=FPS, good=ALL)
    peg = Peg(300, float(free.film_ev[300]) + 1.0)
    bent = film_light(night(scene, steps()), LightSettings(pegs=(peg,)), fps=FPS, good=ALL)
    bend = bent.film_ev - free.film_ev
    assert bend[300] == pytest.approx(1.0, abs=1e-3)
    assert np.abs(np.diff(bend)).max() < 0.05
    assert np.abs(bend[:50]).max() < 0.05


def test_flicker_can_be_left_in() -> None:
    flicker = np.random.default_rng(3).normal(0, 0.04, N)
    light = night(np.zeros(N), flicker, flicker)
    kept = film_light(light, LightSettings(flicker=False), fps=FPS, good=ALL)
    gone = film_light(light, LightSettings(), fps=FPS, good=ALL)
    assert np.std(kept.virtual_ev) == pytest.approx(np.std(flicker), rel=0.05)
    assert np.std(gone.virtual_ev) < 1e-6


def test_as_shot_gets_no_gain() -> None:
    film = film_light(night(np.zeros(N), steps()), LightSettings(even=False), fps=FPS, good=ALL)
    assert not film.gain_ev.any()


def test_spoilt_frames_do_not_bend_the_curve() -> None:
    scene, received = np.sin(np.arange(N) / 60), steps()
    spoilt = scene.copy()
    spoilt[200] += 5.0
    good = ALL.copy()
    good[200] = False
    clean = film_light(night(scene, received), LightSettings(), fps=FPS, good=good)
    other = film_light(night(spoilt, received), LightSettings(), fps=FPS, good=good)
    np.testing.assert_allclose(other.gain_ev, clean.gain_ev, atol=1e-9)


def test_a_bright_display_is_held_back_below_flat_white() -> None:
    scene = 4.5 / (1 + np.exp(-(np.arange(N) - 300) / 4.0)) / (1 + np.exp((np.arange(N) - 420) / 10.0))
    received = np.where((np.arange(N) > 304) & (np.arange(N) < 425), -4.0, 0.0)
    dim = replace(night(scene, received), highlight_ev=scene + received + 1.0)
    settings = LightSettings(sky_kept=0.6)
    film = film_light(dim, settings, fps=FPS, good=ALL)
    free = film_light(night(scene, received), settings, fps=FPS, good=ALL)
    assert (dim.highlight_ev + free.gain_ev).max() > HIGHLIGHT_LIMIT_EV + 1.0
    assert (dim.highlight_ev + film.gain_ev).max() < HIGHLIGHT_LIMIT_EV + 0.2
    assert np.abs(np.diff(film.virtual_ev)).max() < 0.2
    assert np.ptp(film.film_ev) > 1.0, "the display is still brighter than the quiet night"


@pytest.mark.parametrize("apart", [1, 2, 5, 25, 180, 400])
def test_two_pegs_are_met_and_nothing_overshoots_them(apart: int) -> None:
    light, settings = night(np.sin(np.arange(N) / 60), steps()), LightSettings()
    free = film_light(light, settings, fps=FPS, good=ALL)
    pegs = (Peg(100, float(free.film_ev[100]) - 0.5), Peg(100 + apart, float(free.film_ev[100 + apart]) + 0.5))
    bend = film_light(light, replace(settings, pegs=pegs), fps=FPS, good=ALL).film_ev - free.film_ev
    assert bend[[100, 100 + apart]] == pytest.approx([-0.5, 0.5], abs=1e-6)
    assert np.abs(bend).max() <= 0.5 + 1e-6


@pytest.mark.parametrize(("ramp_s", "fps"), [(600.0, 240.0), (0.01, 1.0), (600.0, 1.0)])
def test_extreme_ramps_are_no_error(ramp_s: float, fps: float) -> None:
    film = film_light(night(np.sin(np.arange(N) / 60), steps()), LightSettings(ramp_s=ramp_s), fps=fps, good=ALL)
    assert np.isfinite(film.gain_ev).all()
    assert np.abs(film.gain_ev).max() < 12
