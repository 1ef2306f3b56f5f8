"""White balance: temperature and tint to multipliers and back, and matrices that keep neutral neutral."""

from __future__ import annotations

import numpy as np
import pytest
from dng import Sensor
from hypothesis import given
from hypothesis import strategies as st

from lapsebench.core.balance import (
    Balance,
    BalanceKind,
    camera_to_rgb,
    grey_multipliers,
    light_xy,
    temperature_multipliers,
    temperature_of,
)

MATRIX = Sensor().matrix


@given(st.floats(1800, 14000), st.floats(-15, 15))
def test_the_panel_shows_the_temperature_and_tint_that_were_set(kelvin: float, tint: float) -> None:
    shown, tint_shown = temperature_of(temperature_multipliers(kelvin, tint, MATRIX), MATRIX)
    assert shown == pytest.approx(kelvin, rel=2e-4)
    assert tint_shown == pytest.approx(tint, abs=0.02)


def test_bluer_light_needs_more_red_and_less_blue() -> None:
    multipliers = np.array([temperature_multipliers(kelvin, 0, MATRIX) for kelvin in (2000, 3000, 4500, 7000, 12000)])
    assert (np.diff(multipliers[:, 0]) > 0).all()
    assert (np.diff(multipliers[:, 2]) < 0).all()


def test_greenish_light_has_the_larger_y() -> None:
    assert light_xy(5000, 10)[1] > light_xy(5000, 0)[1] > light_xy(5000, -10)[1]


@pytest.mark.parametrize("primaries", ["BT.709", "BT.2020"])
def test_balanced_neutral_stays_neutral(primaries: str) -> None:
    np.testing.assert_allclose(np.array(camera_to_rgb(MATRIX, primaries)) @ np.ones(3), 1, atol=1e-12)


@given(st.floats(2500, 9000), st.floats(-10, 10), st.floats(0.01, 2))
def test_a_picked_spot_becomes_grey(kelvin: float, tint: float, light: float) -> None:
    true, used = np.array(temperature_multipliers(kelvin, tint, MATRIX)), temperature_multipliers(5000, 0, MATRIX)
    to_rgb = camera_to_rgb(MATRIX)
    picked = np.array(to_rgb) @ (np.array(used) * light / true)
    np.testing.assert_allclose(grey_multipliers(used, to_rgb, picked), true, rtol=1e-9)


def test_a_black_spot_can_not_be_grey() -> None:
    with pytest.raises(ValueError, match="too dark"):
        grey_multipliers((2, 1, 1.5), camera_to_rgb(MATRIX), np.zeros(3))


def test_each_kind_of_balance_takes_its_own_numbers() -> None:
    shot, own = (2.0, 1.0, 1.5), (2.5, 1.0, 1.2)
    assert Balance(multipliers=shot).for_camera(MATRIX, own) == shot
    assert Balance(BalanceKind.GREY, shot).for_camera(MATRIX, own) == shot
    assert Balance(BalanceKind.DAYLIGHT, shot).for_camera(MATRIX, own) == own
    assert Balance().for_camera(MATRIX, own) == own
    assert Balance(BalanceKind.DAYLIGHT).for_camera(MATRIX)[0] == pytest.approx(1 / Sensor().neutral[0])
    assert Balance(BalanceKind.CUSTOM, shot, 4000, 5).for_camera(MATRIX) == temperature_multipliers(4000, 5, MATRIX)
