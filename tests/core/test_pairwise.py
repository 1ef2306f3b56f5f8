"""The gain between frames is what most tiles did alike, and spoilt frames are stepped over."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lapsebench.core.pairwise import pair_gains, solve_path


@settings(deadline=None, max_examples=40)
@given(st.floats(-3, 3), st.floats(0.0, 0.35), st.integers(0, 2**31))
def test_a_moving_part_of_the_picture_does_not_bend_the_gain(gain: float, moving: float, seed: int) -> None:
    random = np.random.default_rng(seed)
    tiles = random.normal(-6, 1, 1000)
    after = tiles + gain + random.normal(0, 0.01, 1000)
    after[: int(moving * 1000)] += random.uniform(-2, 3, int(moving * 1000))
    pairs = pair_gains(np.stack([tiles, after]).astype(np.float32), np.ones((2, 1000), np.float32), lags=(1,))
    assert pairs.gain_ev[0] == pytest.approx(gain, abs=0.01)
    assert pairs.share[0] >= 0.95 - moving


def test_spoilt_frames_are_stepped_over() -> None:
    random = np.random.default_rng(1)
    path = np.array([0.0, 0.5, 9.0, -0.5, 1.0, 0.2])
    tiles = (random.normal(-6, 1, 500) + path[:, None]).astype(np.float32)
    weights = np.ones_like(tiles)
    weights[2] = 0
    solved = solve_path(pair_gains(tiles, weights), 6)
    assert np.isnan(solved[2])
    np.testing.assert_allclose(np.delete(solved, 2), np.delete(path, 2), atol=0.01)


def test_one_bad_pair_does_not_bend_the_path() -> None:
    random = np.random.default_rng(2)
    path = np.cumsum(random.normal(0, 0.1, 30))
    tiles = (random.normal(-6, 1, 400) + path[:, None]).astype(np.float32)
    pairs = pair_gains(tiles, np.ones_like(tiles))
    pairs.gain_ev[10] += 0.8
    np.testing.assert_allclose(solve_path(pairs, 30), path - path[0], atol=0.03)


@pytest.mark.parametrize("usable", [0, 1])
def test_too_few_frames_give_no_path(usable: int) -> None:
    weights = np.zeros((4, 10), np.float32)
    weights[:usable] = 1
    assert np.isnan(solve_path(pair_gains(np.zeros((4, 10), np.float32), weights), 4)).all()
