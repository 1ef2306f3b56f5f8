"""A gain through a camera's curve: exact in its stops, nothing at 0, white and hues stay; codes, light and depths agree."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from lapsebench.core.curves import Responses
from lapsebench.core.response import Origin, Response, knots
from lapsebench.core.rolloff import KNEE
from lapsebench.core.transfer import linear_to_srgb, srgb_to_linear
from lapsebench.imaging.apply import apply_gain, codes_of_light, gain_table, light_of_codes, light_of_linear

GAINS = st.floats(-3, 3).filter(lambda gain: abs(gain) > 0.01)


def camera(power: float, *, tilt: float = 0.0) -> Responses:
    """Return the responses of a contrasty (`power` over 1) or flat camera, channels apart by `tilt`."""
    codes = knots()
    responses = []
    for k in (-1, 0, 1):
        exponent = power * (1 + tilt * k)
        plain = codes ** (1 / exponent) / (codes ** (1 / exponent) + (1 - codes) ** (1 / exponent))
        ev = np.log2(srgb_to_linear(plain))
        responses.append(Response(tuple(codes.tolist()), tuple(ev.tolist()), Origin.MEASURED))
    return tuple(responses)


CAMERAS = st.builds(lambda power, tilt: camera(power, tilt=tilt), st.floats(0.75, 1.6), st.floats(0, 0.05))


def greys() -> NDArray[np.uint8]:
    return np.repeat(np.arange(256, dtype=np.uint8).reshape(16, 16, 1), 3, axis=2)


@settings(max_examples=40, deadline=None)
@given(CAMERAS, GAINS)
def test_what_is_applied_is_measured_again(responses: Responses, gain_ev: float) -> None:
    codes = np.arange(3008, 65536, dtype=np.uint16).reshape(-1, 16, 1).repeat(3, axis=2)
    shown = linear_to_srgb(light_of_codes(codes, gain_ev, responses) / 65535)
    for c, response in enumerate(responses):
        before, after = response.stops(codes[..., c] / 65535), response.stops(shown[..., c])
        plain = (before + max(gain_ev, 0) < np.log2(KNEE) - 0.02) & (shown[..., c] > 0.05)
        assert np.abs(after - before - gain_ev)[plain].max(initial=0) < 0.01


@settings(max_examples=40, deadline=None)
@given(CAMERAS, GAINS)
def test_order_black_and_white_stay(responses: Responses, gain_ev: float) -> None:
    shown = apply_gain(greys(), gain_ev, responses).reshape(256, 3).astype(int)
    assert (shown[0] == 0).all()
    assert (shown[255] == 255).all()
    assert (np.diff(gain_table(gain_ev, responses)[0].astype(int), axis=0) >= 0).all()


@settings(max_examples=30, deadline=None)
@given(CAMERAS, GAINS)
def test_codes_of_both_depths_and_light_give_the_same_pixels(responses: Responses, gain_ev: float) -> None:
    codes = np.random.default_rng(3).integers(0, 256, (40, 50, 3), dtype=np.uint8)
    table = apply_gain(codes, gain_ev, responses).astype(int)
    deep = codes_of_light(light_of_codes(codes.astype(np.uint16) * 257, gain_ev, responses))
    linear = codes_of_light(light_of_linear(srgb_to_linear(codes / 255).astype(np.float32), gain_ev, responses))
    through_light = codes_of_light(light_of_codes(codes, gain_ev, responses))
    for other in (deep, linear, through_light):
        assert np.abs(other.astype(int) - table).max() <= 1


def test_no_gain_is_no_change() -> None:
    responses = camera(1.4)
    codes = np.random.default_rng(1).integers(0, 256, (30, 40, 3), dtype=np.uint8)
    assert apply_gain(codes, 0.0, responses) is codes
    assert np.array_equal(codes_of_light(light_of_codes(codes, 0.0, responses)), codes)
    linear = srgb_to_linear(codes / 255).astype(np.float32)
    assert np.array_equal(codes_of_light(light_of_linear(linear, 0.0, responses)), codes)


@pytest.mark.parametrize("gain_ev", [-2.0, -0.5])
def test_darkening_keeps_the_hue_of_a_clipped_channel(gain_ev: float) -> None:
    responses = camera(1.3)
    aurora = np.array([[(90, 255, 120), (255, 255, 255)]], np.uint8)
    shown = apply_gain(aurora, gain_ev, responses)
    before = np.array([response.stops(code / 255) for response, code in zip(responses, aurora[0, 0], strict=True)])
    after = np.array([response.stops(code / 255) for response, code in zip(responses, shown[0, 0], strict=True)])
    np.testing.assert_allclose(after - before, gain_ev, atol=0.06)
    assert shown[0, 1].tolist() == [255, 255, 255]


UNLIKE = st.tuples(GAINS, GAINS, GAINS)


@settings(max_examples=30, deadline=None)
@given(st.one_of(st.just(()), CAMERAS), UNLIKE)
def test_each_channel_gets_its_own_gain_and_white_stays(responses: Responses, gains: tuple[float, float, float]) -> None:
    codes = greys()
    shown = apply_gain(codes, gains, responses).reshape(256, 3).astype(int)
    assert shown[[0, 255]].tolist() == [[0] * 3, [255] * 3]
    assert (np.diff(shown, axis=0) >= 0).all()
    for c, gain in enumerate(gains):
        assert np.abs(shown[:, c] - apply_gain(codes, gain, responses).reshape(256, 3)[:, c]).max() <= 1


@settings(max_examples=30, deadline=None)
@given(st.one_of(st.just(()), CAMERAS), UNLIKE)
def test_unlike_gains_are_the_same_on_codes_of_both_depths_and_light(
    responses: Responses, gains: tuple[float, float, float]
) -> None:
    codes = np.random.default_rng(5).integers(0, 256, (40, 50, 3), dtype=np.uint8)
    table = apply_gain(codes, gains, responses).astype(int)
    deep = codes_of_light(light_of_codes(codes.astype(np.uint16) * 257, gains, responses))
    linear = codes_of_light(light_of_linear(srgb_to_linear(codes / 255).astype(np.float32), gains, responses))
    for other in (deep, linear, codes_of_light(light_of_codes(codes, gains, responses))):
        assert np.abs(other.astype(int) - table).max() <= 1


def test_three_gains_alike_are_one_and_none_is_no_change() -> None:
    codes = np.random.default_rng(6).integers(0, 256, (30, 40, 3), dtype=np.uint8)
    assert apply_gain(codes, (0.0, 0.0, 0.0)) is codes
    assert apply_gain(codes, (0.0, float("nan"), 0.0)) is codes
    for gain in (-0.7, 0.4):
        assert np.array_equal(apply_gain(codes, (gain,) * 3), apply_gain(codes, gain))
