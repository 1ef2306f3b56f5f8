"""Camera and sky are split: steps and flicker belong to the camera, the break-up to the sky; with and without metadata."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from lapsebench.core.separation import separate

Floats = NDArray[np.float64]


def off(night: Any, received: Floats) -> Floats:
    """Return the frame-to-frame error of the received exposure, stops."""
    return np.diff(received - night.received_ev)


@pytest.mark.parametrize("seed", range(4))
def test_received_exposure_is_found_with_settings(make_night: Callable[..., Any], seed: int) -> None:
    night = make_night(seed=seed)
    light = separate(night.evidence).light
    error = off(night, light.received_ev)
    assert error.std() < 0.02
    assert np.abs(error[[29, 61, 89]]).max() < 0.06
    np.testing.assert_allclose(light.scene_ev, light.luminance_ev - light.received_ev)


@pytest.mark.parametrize("seed", range(4))
def test_received_exposure_is_found_without_settings(make_night: Callable[..., Any], seed: int) -> None:
    night = make_night(seed=seed, known=False)
    separated = separate(night.evidence)
    found = set(np.flatnonzero(separated.light.setting_change).tolist())
    assert found >= {30, 62, 90}
    assert len(found) <= 4
    assert np.abs(off(night, separated.light.received_ev)[[29, 61, 89]]).max() < 0.1
    assert separated.disagreeing == ()


def test_a_steady_camera_is_left_alone(make_night: Callable[..., Any]) -> None:
    night = make_night(flicker=0.0, bias=0.0, breakup=0.0, changes=())
    light = separate(night.evidence).light
    assert np.std(light.received_ev) < 0.003
    assert not light.setting_change.any()


def test_a_break_up_is_no_camera_step(make_night: Callable[..., Any]) -> None:
    night = make_night(breakup=4.0, changes=(), known=False)
    separated = separate(night.evidence)
    assert not separated.light.setting_change.any()
    assert np.ptp(separated.light.scene_ev) > 2.0


def test_a_step_that_only_the_metadata_tell_is_not_believed(make_night: Callable[..., Any]) -> None:
    night = make_night(changes=((30, -1.0),), told=((30, -1.0), (80, 1.0)))
    separated = separate(night.evidence)
    assert separated.disagreeing == (80,)
    assert np.abs(off(night, separated.light.received_ev)).max() < 0.1


def test_a_step_that_only_the_pixels_show_is_found(make_night: Callable[..., Any]) -> None:
    night = make_night(changes=((30, -1.0), (80, 1.0)), told=((30, -1.0),))
    separated = separate(night.evidence)
    assert separated.disagreeing == (80,)
    assert np.abs(off(night, separated.light.received_ev)).max() < 0.1


@pytest.mark.parametrize("count", [1, 2, 3])
def test_a_handful_of_frames_is_no_error(make_night: Callable[..., Any], count: int) -> None:
    night = make_night(n=count, changes=())
    assert np.isfinite(separate(night.evidence).light.received_ev).all()


def starred(night: Any, seed: int = 0, sd: float = 0.01) -> Any:
    """Return the evidence with what stars would tell of the received exposure, 7 stops off and with noise."""
    noise = np.random.default_rng(seed).normal(0, sd, night.received_ev.size)
    return replace(
        night.evidence, direct_received_ev=night.received_ev + 7 + noise, direct_sd=np.full(night.received_ev.size, sd)
    )


@pytest.mark.parametrize("known", [True, False])
@pytest.mark.parametrize("seed", range(3))
def test_stars_carry_the_exposure_through_a_scene_that_jumps_everywhere(
    make_night: Callable[..., Any], seed: int, known: bool
) -> None:
    """The tiles see the whole scene jump by a third of a stop from frame to frame, over a step of the camera."""
    night = make_night(seed=seed, known=known, changes=((30, -1.0), (62, -4 / 3)))
    jumps = np.zeros(120)
    jumps[50:75] = np.random.default_rng(seed).normal(0, 0.3, 25)
    evidence = starred(night, seed)
    evidence = replace(evidence, log_tiles=evidence.log_tiles + jumps[:, None].astype(np.float32))
    blind = separate(replace(evidence, direct_received_ev=None)).light
    separated = separate(evidence)
    assert off(night, separated.light.received_ev).std() < 0.025
    assert off(night, blind.received_ev).std() > 0.05
    assert {30, 62} <= set(np.flatnonzero(separated.light.setting_change).tolist())
    assert separated.disagreeing == ()


def test_a_jump_that_the_stars_do_not_see_is_scene(make_night: Callable[..., Any]) -> None:
    night = make_night(known=False, changes=())
    jump = (np.arange(120) >= 80).astype(np.float32)[:, None]
    evidence = starred(night)
    evidence = replace(evidence, log_tiles=evidence.log_tiles + jump)
    assert np.flatnonzero(separate(replace(evidence, direct_received_ev=None)).light.setting_change).tolist() == [80]
    separated = separate(evidence)
    assert not separated.light.setting_change.any()
    assert np.abs(off(night, separated.light.received_ev)).max() < 0.05


def test_frames_that_the_tiles_can_not_tell_have_a_larger_error(make_night: Callable[..., Any]) -> None:
    night = make_night(breakup=0.0, changes=())
    rough = night.evidence.log_tiles.copy()
    rough[50:70] += np.random.default_rng(4).normal(0, 0.5, rough[50:70].shape)
    rough[50:70] += np.random.default_rng(5).normal(0, 0.2, (20, 1))
    separated = separate(replace(night.evidence, log_tiles=rough))
    error = separated.light.error_ev
    assert np.median(error[50:70]) > 2 * np.median(error[:45])
    assert np.nanmedian(separated.path_sd[50:70]) > 2 * np.nanmedian(separated.path_sd[:45])
