"""A gain is exact where there is room, keeps white white, and never reverses tones."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from lapsebench.core.rolloff import KNEE, gain_with_rolloff

RAMP = np.linspace(0, 1, 4097, dtype=np.float32)


@given(st.floats(-8, 8))
def test_black_and_white_stay_and_tones_keep_their_order(gain_ev: float) -> None:
    bent = gain_with_rolloff(RAMP, gain_ev)
    assert bent[0] == 0
    assert abs(bent[-1] - 1) < 1e-6
    assert (np.diff(bent) >= -1e-7).all()  # single precision: one unit in the last place of white is 6e-8


@given(st.floats(-8, 8))
def test_the_gain_is_exact_below_the_knee(gain_ev: float) -> None:
    below = RAMP[RAMP * max(2.0**gain_ev, 1.0) <= KNEE]
    np.testing.assert_allclose(gain_with_rolloff(below, gain_ev), below * 2.0**gain_ev, rtol=1e-6)


@given(st.floats(-4, 4).filter(lambda gain: abs(gain) > 0.01))
def test_the_shoulder_starts_with_the_slope_of_the_straight_part(gain_ev: float) -> None:
    knee = KNEE / max(2.0**gain_ev, 1.0)
    around = np.array([knee - 1e-3, knee, knee + 1e-3 * (1 - knee)], dtype=np.float64).astype(np.float32)
    bent = gain_with_rolloff(around, gain_ev).astype(float)
    before = (bent[1] - bent[0]) / float(around[1] - around[0])
    after = (bent[2] - bent[1]) / float(around[2] - around[1])
    assert abs(after / before - 1) < 0.05


def test_no_gain_is_no_change() -> None:
    np.testing.assert_array_equal(gain_with_rolloff(RAMP, 0.0), RAMP)
