"""Colour drift: the camera's own changes of colour are found, the sky's are left."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from lapsebench.core.colourdrift import colour_drift
from lapsebench.core.transfer import BT709_WEIGHTS

Floats = NDArray[np.float64]
N, K = 60, 900
MARKS = np.where(np.arange(N) < 25, 3.0, 2.0)
"""A setting change of a stop."""


def tiles(balance: Floats, *, seed: int = 0, scene: Floats | None = None) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return tiles and weights of a calm night with flicker, R and B against G changed by `balance` (n, 2)."""
    random = np.random.default_rng(seed)
    picture = random.normal(-5, 1.2, (1, 3, K)) + np.array([-0.3, 0.2, 0.0])[:, None]
    exposure = MARKS + random.normal(0, 0.01, N)
    log = picture + exposure[:, None, None] + random.normal(0, 0.012, (N, 3, K))
    log[:, 0] += balance[:, :1]
    log[:, 2] += balance[:, 1:]
    if scene is not None:
        log += scene
    weights = np.ones((N, 3 * K), np.float32)
    return log.reshape(N, 3 * K).astype(np.float32), weights


def relative(colour_ev: Floats) -> Floats:
    """Return what R and B get against G, (n, 2), less its median over the frames."""
    off = colour_ev[:, [0, 2]] - colour_ev[:, [1]]
    return np.asarray(off - np.median(off, axis=0))


def centred(balance: Floats) -> Floats:
    return np.asarray(balance - np.median(balance, axis=0))


@settings(max_examples=25, deadline=None)
@given(st.floats(0.055, 0.4), st.floats(-1, 1), st.integers(2, N - 3), st.sampled_from([-1, 1]), st.integers(0, 99))
def test_a_step_is_taken_out(size: float, share: float, at: int, sign: int, seed: int) -> None:
    balance = sign * size * np.outer(np.arange(N) >= at, [1.0, share])
    found = colour_drift(*tiles(balance, seed=seed), MARKS)
    assert np.abs(relative(found) + centred(balance)).max() < 0.02


@settings(max_examples=25, deadline=None)
@given(st.floats(0.1, 0.4), st.integers(0, 99))
def test_white_balance_that_changes_with_every_frame_is_taken_out(size: float, seed: int) -> None:
    balance = np.random.default_rng(seed).uniform(-size, size, (N, 2))
    found = colour_drift(*tiles(balance, seed=seed), MARKS)
    assert np.abs(relative(found) + centred(balance)).max() < 0.02


def test_a_frame_that_is_off_and_a_frame_without_weight() -> None:
    balance = np.zeros((N, 2))
    balance[20] = 0.3, -0.2
    log, weights = tiles(balance)
    weights[40:43] = 0
    found = colour_drift(log, weights, MARKS)
    assert found[20, 0] - found[20, 1] == pytest.approx(-0.3, abs=0.02)
    assert found[20, 2] - found[20, 1] == pytest.approx(0.2, abs=0.02)
    assert np.abs(np.delete(found, 20, axis=0)).max() < 0.01


def test_the_luminance_of_the_mean_picture_stays() -> None:
    balance = 0.3 * np.outer(np.arange(N) >= 30, [1.0, -0.5])
    log, weights = tiles(balance)
    found = colour_drift(log, weights, MARKS)
    light = np.exp2(log.reshape(N, 3, K)).mean(axis=2, dtype=float) * BT709_WEIGHTS
    share = (light / light.sum(axis=1, keepdims=True)).mean(axis=0)
    assert np.abs(found).max() > 0.1
    np.testing.assert_allclose(np.exp2(found) @ share, 1.0, atol=1e-6)


def test_slow_colour_of_the_sky_stays() -> None:
    """A dusk turns bluer by half a stop over the shot; the step in it goes, and only that."""
    dusk = np.outer(np.linspace(0, 1, N), [-0.3, 0.5])
    step = 0.2 * np.outer(np.arange(N) >= 33, [1.0, -1.0])
    assert not colour_drift(*tiles(dusk), MARKS).any()
    found = colour_drift(*tiles(dusk + step), MARKS)
    assert np.abs(relative(found) + centred(step)).max() < 0.02


@pytest.mark.parametrize("everywhere", [True, False])
def test_a_sky_that_changes_colour_and_light_is_left(everywhere: bool) -> None:
    """Green light floods the picture, all of it alike as on open ground, or some of it more than the rest."""
    rise = np.clip((np.arange(N) - 30) / 8, 0, 1)[:, None, None] * np.array([1.8, 3.0, 2.2])[:, None]
    lit = np.ones(K) if everywhere else np.linspace(0.2, 1, K)
    assert not colour_drift(*tiles(np.zeros((N, 2)), scene=rise * lit), MARKS).any()


def test_nothing_to_go_by_is_no_drift() -> None:
    for n in (0, 1, 5):
        assert not colour_drift(np.zeros((n, 30), np.float32), np.zeros((n, 30), np.float32), np.zeros(n)).any()
    log, weights = tiles(np.zeros((N, 2)))
    assert colour_drift(log[:1], weights[:1], MARKS[:1]).tolist() == [[0.0, 0.0, 0.0]]


def test_steps_at_unknown_settings_are_found() -> None:
    balance = 0.2 * np.outer(np.arange(N) >= 40, [1.0, 0.0])
    found = colour_drift(*tiles(balance), np.full(N, np.nan))
    steps = [b - a for a, b in itertools.pairwise(found[:, 0] - found[:, 1])]
    assert int(np.argmax(np.abs(steps))) == 39
    assert steps[39] == pytest.approx(-0.2, abs=0.02)
