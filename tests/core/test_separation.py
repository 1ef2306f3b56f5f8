"""Camera and sky are split: steps and flicker belong to the camera, the break-up to the sky; with and without metadata."""

from __future__ import annotations

from collections.abc import Callable
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
