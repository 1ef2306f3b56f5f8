"""The split agrees with independent libraries on the Gaussian model, and stars decide where the scene jumps about."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from statsmodels.regression.linear_model import OLS
from statsmodels.tsa.statespace.structural import UnobservedComponents

from lapsebench.core.direct import direct_observations
from lapsebench.core.splitting import BIAS_SD_EV, _Fit, _Model, split_path

Floats = NDArray[np.float64]


def smooth_night(
    seed: int, n: int = 200, turn: float = 0.004, flicker: float = 0.03
) -> tuple[Floats, Floats, NDArray[np.intp]]:
    """Return scene, received exposure (bias + flicker), both (n,), and the groups of four settings."""
    random = np.random.default_rng(seed)
    scene = np.cumsum(np.cumsum(random.normal(0, turn, n)))
    groups = np.repeat([0, 1, 2, 1, 3], n // 5)
    return scene, random.normal(0, BIAS_SD_EV, 4)[groups] + random.normal(0, flicker, n), groups


@settings(deadline=None, max_examples=20)
@given(st.integers(0, 2**31), st.booleans(), st.floats(-1.0, 4.0))
def test_one_fit_is_that_of_least_squares_on_all_that_is_known(seed: int, with_stars: bool, log_stiffness: float) -> None:
    """Priors as rows of data: the coefficients are the posterior mean, their covariance the posterior's."""
    random = np.random.default_rng(seed)
    scene, received, groups = smooth_night(seed, 60)
    n, stiffness = scene.size, 10.0**log_stiffness
    path = scene + received
    path[random.random(n) < 0.1] = np.nan
    direct, sd = scene + 0.7 + random.normal(0, 0.01, n), random.uniform(0.005, 0.02, n)
    direct[random.random(n) < 0.2] = np.nan
    model = _Model(path, groups, np.zeros(n, bool), direct_observations(direct if with_stars else None, sd, path))
    model.weight = np.where(np.isfinite(path), random.uniform(0.2, 1.2, n), 0.0)
    model.turn = random.uniform(0.01, 1.3, n - 2)
    fit = _Fit(model, stiffness, model.sd)
    seen, known = np.isfinite(direct) & with_stars, np.isfinite(path)
    rows: list[tuple[Floats, Floats, Floats]] = []  # of scene, bias and level: design, value, precision

    def add(design: Floats, value: Floats, precision: Floats) -> None:
        rows.append((design, value, precision))

    eye, member = np.eye(n), np.eye(4)[groups]
    none = np.zeros((n, 4))
    add(np.hstack([eye, member, 0 * eye])[known], path[known], (model.weight / model.sd**2)[known])
    bend, walk = np.diff(eye, 2, axis=0), np.diff(eye, axis=0)
    add(np.hstack([bend, none[2:], 0 * bend]), np.zeros(n - 2), stiffness * model.turn / model.sd**2)
    add(np.hstack([np.zeros((4, n)), np.eye(4), np.zeros((4, n))]), np.zeros(4), np.full(4, BIAS_SD_EV**-2))
    if with_stars:
        add(np.hstack([eye, none, eye])[seen], direct[seen], (model.sure / sd**2)[seen])
        add(np.hstack([0 * walk, none[1:], walk]), np.zeros(n - 1), model.walk * model.drift**-2)
    design, value, precision = (np.concatenate(column) for column in zip(*rows, strict=True))
    columns = slice(0, None if with_stars else n + 4)
    root = np.sqrt(precision)
    expected: Any = OLS(root * value, root[:, None] * design[:, columns]).fit()
    np.testing.assert_allclose(fit.scene, expected.params[:n], atol=1e-5)
    np.testing.assert_allclose(fit.bias, expected.params[n : n + 4], atol=1e-5)
    covariance = expected.normalized_cov_params[:n, :n]
    np.testing.assert_allclose(fit.change_variance() * model.sd**2, np.diag(walk @ covariance @ walk.T), rtol=1e-3)


@pytest.mark.parametrize("turn", [0.0005, 0.002, 0.005, 0.01, 0.02])
def test_the_stiffness_is_the_one_of_the_highest_likelihood_of_a_state_space_model(turn: float) -> None:
    """A smooth trend and noise: the diffuse likelihood of the Kalman filter is the restricted one."""
    scene, received, _ = smooth_night(7, turn=turn)
    path = scene + received
    split = split_path(path, np.zeros(path.size, np.intp), np.zeros(path.size, bool), rounds=1)
    model = UnobservedComponents(path, level="smooth trend", use_exact_diffuse=True)

    def profiled(stiffness: float) -> float:
        """Return the likelihood, highest over the scale of both variances."""
        scales = np.logspace(-6, 0, 60)
        return max(float(model.loglike([scale, scale / stiffness])) for scale in scales)

    chosen = (split.flicker_sd / split.turn_sd) ** 2
    likelihoods = [profiled(chosen * 10.0**step) for step in (-0.5, 0.0, 0.5)]
    assert np.argmax(likelihoods) == 1
    trend = model.smooth([split.flicker_sd**2, split.turn_sd**2]).smoothed_state[0]
    np.testing.assert_allclose(split.scene + split.bias, trend, atol=2e-4)


def break_up(seed: int) -> tuple[Floats, Floats]:
    """Return a scene (n,) that jumps about from frame to frame in the middle, and the received exposure."""
    scene, received, _ = smooth_night(seed, turn=0.001)
    random = np.random.default_rng(seed)
    scene[70:130] += np.cumsum(random.normal(0.03, 0.1, 60))
    return scene, received


@pytest.mark.parametrize("seed", range(5))
def test_stars_tell_scene_from_flicker_in_a_break_up(seed: int) -> None:
    scene, received = break_up(seed)
    random = np.random.default_rng(seed + 100)
    groups, gap = np.repeat([0, 1, 2, 1, 3], 40), np.zeros(200, bool)
    stars = received + random.normal(0, 0.01, 200) - 0.2 * np.exp(-(((np.arange(200) - 110) / 15) ** 2))  # thin cloud
    sd = np.full(200, 0.01)
    blind = split_path(scene + received, groups, gap)
    split = split_path(scene + received, groups, gap, direct=scene + received - stars, direct_sd=sd)
    middle = slice(70, 129)
    blind_off, off = (np.diff(s.bias + s.flicker - received)[middle] for s in (blind, split))
    assert off.std() < 0.025
    assert off.std() < 0.5 * blind_off.std()


@pytest.mark.parametrize("seed", range(5))
def test_a_wrong_star_frame_does_no_harm(seed: int) -> None:
    scene, received, groups = smooth_night(seed, turn=0.001)
    random = np.random.default_rng(seed)
    stars = received + random.normal(0, 0.01, 200)
    wrong = [20, 77, 78, 150]
    stars[wrong] += [0.5, -0.4, 0.3, -1.0]
    path, gap = scene + received, np.zeros(200, bool)
    split = split_path(path, groups, gap, direct=path - stars, direct_sd=np.full(200, 0.01))
    assert np.abs(np.diff(split.bias + split.flicker - received)).max() < 0.04


@pytest.mark.parametrize("known", [0, 1])
def test_too_few_direct_observations_change_nothing(known: int) -> None:
    scene, received, groups = smooth_night(1)
    direct = np.full(200, np.nan)
    direct[:known] = 0.3
    path, gap = scene + received, np.zeros(200, bool)
    split = split_path(path, groups, gap, direct=direct, direct_sd=np.full(200, 0.01))
    np.testing.assert_array_equal(split.scene, split_path(path, groups, gap).scene)


@pytest.mark.parametrize("with_stars", [False, True])
def test_the_standard_error_is_about_the_error_made(with_stars: bool) -> None:
    """Tiles err in the path, stars in what is received; path less stars is the scene as observed."""
    ratios = []
    for seed in range(20):
        scene, received, groups = smooth_night(seed)
        random = np.random.default_rng(seed + 50)
        path, gap = scene + received + random.normal(0, 0.004, 200), np.zeros(200, bool)
        direct = path - received + random.normal(0, 0.01, 200) if with_stars else None
        own = np.full(200, 0.004)
        split = split_path(path, groups, gap, direct=direct, direct_sd=np.full(200, 0.01), path_sd=own)
        off = np.diff(split.bias + split.flicker - received)
        ratios.append(np.sqrt(np.mean(off**2 / (split.error_ev[1:] ** 2 + split.error_ev[:-1] ** 2))))
    print(f"error made / standard error, with stars {with_stars}: {np.mean(ratios):.2f}")
    assert 0.8 < np.mean(ratios) < 1.25


def test_where_the_sky_jumps_about_the_stars_tell_how_sure_it_is_whatever_the_tiles_are() -> None:
    random = np.random.default_rng(6)
    scene = np.cumsum(random.normal(0, 0.3, 200))
    _, received, groups = smooth_night(6)
    path = scene + received + random.normal(0, 0.1, 200)
    direct = path - received + random.normal(0, 0.005, 200)
    whole = np.full(200, 0.1)
    split = split_path(path, groups, np.zeros(200, bool), direct=direct, direct_sd=np.full(200, 0.005), path_sd=whole)
    off = np.diff(split.bias + split.flicker - received)
    stated = np.sqrt(split.error_ev[1:] ** 2 + split.error_ev[:-1] ** 2)
    assert np.sqrt(np.mean(off**2)) < 0.01
    assert 0.7 < np.sqrt(np.mean((off / stated) ** 2)) < 1.4


def test_frames_without_a_path_have_no_standard_error() -> None:
    scene, received, groups = smooth_night(3)
    path = scene + received
    path[50:55] = np.nan
    split = split_path(path, groups, np.zeros(200, bool))
    assert np.isnan(split.error_ev[50:55]).all()
    assert np.isfinite(np.delete(split.error_ev, range(50, 55))).all()
