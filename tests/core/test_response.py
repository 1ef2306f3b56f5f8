"""The camera's curve is found where setting changes tell it, and sRGB is kept where they don't."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from lapsebench.core.response import Response, srgb_response
from lapsebench.core.response_fit import fit_responses
from lapsebench.core.response_samples import Around, Floats
from lapsebench.core.transfer import linear_to_srgb, srgb_to_linear

N, K = 40, 1500


def recorded(curve_gamma: float, lift: float) -> tuple[NDArray[np.float32], NDArray[np.float32], Floats, Floats]:
    """Return sRGB-decoded tiles of a camera with its own curve, usability, marks, and the scene's stops."""
    random = np.random.default_rng(4)
    scene_ev = random.uniform(-9, -0.5, K)
    exposure = np.repeat(random.permutation([0, -1, -2, -1 / 3, -4 / 3, 1 / 3, -1, -5 / 3]), N // 8).astype(float)
    light = np.clip(2.0 ** (scene_ev + exposure[:, None] + random.normal(0, 0.02, N)[:, None]), 0, 1)
    codes = lift + (1 - lift) * linear_to_srgb(light) ** curve_gamma
    codes = np.clip(codes + random.normal(0, 0.2 / 255, codes.shape), 0, 1)
    return srgb_to_linear(codes).astype(np.float32), (light < 0.98).astype(np.float32), exposure, scene_ev


def fitted(light: NDArray[np.float32], usable: NDArray[np.float32], exposure: Floats) -> Response:
    """Return the response of one channel, tiles (n, k)."""
    return fit_responses([Around(light[None], usable[None], exposure)])[0]


@pytest.mark.parametrize(("gamma", "lift"), [(1.35, 0.0), (0.8, 0.0), (1.0, 0.06)])
def test_a_camera_curve_is_recovered(gamma: float, lift: float) -> None:
    light, usable, exposure, scene = recorded(gamma, lift)
    response = fitted(light, usable, exposure)
    assert response.estimated
    frame = int(np.argmax(exposure))
    told, _ = response.seen(light[frame])
    mids = (scene + exposure[frame] > -6) & (scene + exposure[frame] < -0.6)
    slope = np.polyfit(scene[mids], told[mids], 1)[0]
    assert slope == pytest.approx(1.0, abs=0.05)
    assert np.std(told[mids] - scene[mids]) < 0.1
    assert (np.diff(response.ev) > 0).all()


def test_srgb_is_kept_for_a_camera_that_follows_it() -> None:
    light, usable, exposure, _ = recorded(1.0, 0.0)
    response = fitted(light, usable, exposure)
    assert not response.estimated
    np.testing.assert_array_equal(response.ev, srgb_response().ev)


def test_srgb_is_kept_without_setting_changes_or_settings() -> None:
    light, usable, exposure, _ = recorded(1.35, 0.0)
    assert not fitted(light, usable, np.zeros(N)).estimated
    assert not fitted(light, usable, np.full(N, np.nan)).estimated
    assert not fitted(light, np.zeros_like(usable), exposure).estimated


def test_dark_codes_weigh_little() -> None:
    response = srgb_response()
    _, (dark, mid) = response.seen(srgb_to_linear(np.array([4 / 255, 120 / 255])))
    assert dark < 0.05
    assert mid > 0.5


def test_light_below_zero_is_black() -> None:
    light, usable, exposure, _ = recorded(1.35, 0.0)
    below, black = light.copy(), light.copy()
    below[:, ::20], black[:, ::20] = -0.02 * light[:, ::20], 0.0
    found, wanted = (fitted(tiles, usable, exposure) for tiles in (below, black))
    assert found.estimated
    assert found.black_code == 0.0
    np.testing.assert_array_equal(found.ev, wanted.ev)
    for seen, expected in zip(found.seen(below), wanted.seen(black), strict=True):
        np.testing.assert_array_equal(seen, expected)
