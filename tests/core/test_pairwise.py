"""The gain between frames is what most tiles did alike, and spoilt frames are stepped over."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import csr_array
from scipy.sparse.linalg import lsqr
from scipy.stats import gaussian_kde
from statsmodels.robust.norms import TukeyBiweight

from lapsebench.core.gainpath import path_errors, solve_path
from lapsebench.core.pairwise import Pairs, pair_gains, tiles_worth


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


@settings(deadline=None, max_examples=30)
@given(st.floats(-2, 2), st.floats(0.0, 0.4), st.floats(0.005, 0.05), st.integers(0, 2**31))
def test_the_mode_is_the_biweight_location_at_the_peak_of_a_kernel_density(
    gain: float, moving: float, spread: float, seed: int
) -> None:
    random = np.random.default_rng(seed)
    ratios = gain + random.normal(0, spread, 1500)
    ratios[: int(moving * 1500)] += random.uniform(-1, 3, int(moving * 1500))
    tiles = np.stack([np.zeros(1500), ratios]).astype(np.float32)
    found = pair_gains(tiles, np.ones_like(tiles), lags=(1,)).gain_ev[0]
    places = np.linspace(gain - 1, gain + 3, 2001)
    centre = places[gaussian_kde(ratios, 0.05 / ratios.std()).evaluate(places).argmax()]
    biweight = TukeyBiweight(c=1.0)
    for width in (0.25, *[max(6 * spread, 0.04)] * 20):
        weight = biweight.weights((ratios - centre) / width)
        centre = np.average(ratios, weights=weight)
    assert found == pytest.approx(centre, abs=0.004)


@settings(deadline=None, max_examples=30)
@given(st.integers(3, 80), st.integers(0, 2**31))
def test_the_path_is_that_of_sparse_least_squares(n: int, seed: int) -> None:
    """With the weights that the Cauchy loss comes to, on pairs of which a tenth are far off."""
    random = np.random.default_rng(seed)
    path = np.cumsum(random.normal(0, 0.2, n))
    first, second = (
        np.array(ends) for ends in zip(*[(i, i + lag) for lag in (1, 2, 5) for i in range(n - lag)], strict=True)
    )
    spread = random.uniform(0.002, 0.02, first.size)
    gains = path[second] - path[first] + random.normal(0, spread)
    far = random.random(first.size) < 0.1
    gains[far] += random.normal(0, 0.5, int(far.sum()))
    solved = solve_path(Pairs(first, second, gains, spread, np.ones(first.size)), n, rounds=200)
    residual = (gains - (solved[second] - solved[first])) / np.maximum(spread, 0.005)
    root = np.sqrt(1 / (1 + (residual / 2.5) ** 2)) / spread
    rows = np.tile(np.arange(first.size), 2)
    design = csr_array((np.concatenate([-root, root]), (rows, np.concatenate([first, second]))), shape=(first.size, n))
    expected = lsqr(design, root * gains, atol=1e-13, btol=1e-13, iter_lim=20000)[0]
    np.testing.assert_allclose(solved, expected - expected[0], atol=2e-4)


def test_the_error_of_the_path_tells_loose_frames_from_firm_ones() -> None:
    random = np.random.default_rng(3)
    tiles = (random.normal(-6, 1, 600) + random.normal(0, 0.005, (60, 600))).astype(np.float32)
    tiles[20:30] += random.normal(0, 0.2, (10, 600)).astype(np.float32)
    pairs = pair_gains(tiles, np.ones_like(tiles))
    path = solve_path(pairs, 60)
    errors = path_errors(pairs, path)
    firm = slice(40, 57)
    assert np.median(errors[21:29]) > 3 * np.median(errors[firm])
    assert np.std(np.diff(path[firm])) < 2 * np.median(errors[firm])


@pytest.mark.parametrize("n", [1, 900, 1000, 1938, 5000, 50_000])
def test_long_nights_are_thinned_without_stripes_and_never_to_too_few_tiles(n: int) -> None:
    columns = np.arange(43 * 64)[tiles_worth(n, 43 * 64)]
    assert 3 * columns.size >= 500
    assert np.unique(columns % 64).size == 64
    assert (columns.size == 43 * 64) == (n <= 600)


def test_many_frames_take_a_share_of_the_tiles_and_tell_the_same() -> None:
    random = np.random.default_rng(4)
    path = np.cumsum(random.normal(0, 0.1, 40))
    tiles = (random.normal(-6, 1, 6000) + random.normal(0, 0.01, (40, 6000)) + path[:, None]).astype(np.float32)
    few = tiles[:, tiles_worth(5000, 6000)]
    assert 166 <= few.shape[1] < 600
    thinned = solve_path(pair_gains(few, np.ones_like(few)), 40)
    np.testing.assert_allclose(thinned, path - path[0], atol=0.004)


def test_tiles_that_keep_step_all_night_outweigh_those_that_follow_the_sky(monkeypatch: pytest.MonkeyPatch) -> None:
    """Four tiles in ten are lit by a sky that pulsates too little to be told from the camera in one pair."""
    random = np.random.default_rng(5)
    path = random.normal(0, 0.1, 60)
    sky = random.normal(0, 0.05, (60, 1)) * np.where(np.arange(1000) < 400, random.uniform(0.3, 1, 1000), 0)
    tiles = (random.normal(-6, 1, 1000) + path[:, None] + sky + random.normal(0, 0.01, (60, 1000))).astype(np.float32)

    def error() -> float:
        return float(np.std(np.diff(solve_path(pair_gains(tiles, np.ones_like(tiles)), 60) - path)))

    with_history = error()
    monkeypatch.setattr("lapsebench.core.pairwise._HISTORY_ROUNDS", 0)
    assert with_history < 0.008
    assert with_history < 0.6 * error()
