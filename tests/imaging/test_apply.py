"""A gain in the pixels: exact where it should be, white stays white, one rounding."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from lapsebench.core.rolloff import KNEE, gain_with_rolloff
from lapsebench.core.transfer import linear_to_srgb, srgb_to_linear
from lapsebench.imaging.apply import (
    apply_gain,
    apply_gain_to_jpeg,
    codes_of_light,
    gain_table,
    light_of_codes,
    light_of_linear,
)

GAINS = [-6.0, -2.0, -0.7, -0.01, 0.01, 0.3, 0.5, 1.0, 3.0, 6.0]


def every_code() -> NDArray[np.uint8]:
    """All 256 codes in three channels, (16, 16, 3)."""
    return np.repeat(np.arange(256, dtype=np.uint8).reshape(16, 16, 1), 3, axis=2)


def test_no_gain_changes_no_code() -> None:
    assert np.array_equal(gain_table(0.0), np.arange(256))
    assert np.array_equal(apply_gain(every_code(), 0.0), every_code())


@pytest.mark.parametrize("gain_ev", GAINS)
def test_black_stays_black_white_stays_white_and_order_stays(gain_ev: float) -> None:
    table = gain_table(gain_ev).astype(int)
    assert (table[0], table[255]) == (0, 255)
    assert (np.diff(table) >= 0).all()


@pytest.mark.parametrize("gain_ev", GAINS)
def test_the_table_is_the_light_times_the_gain_below_the_knee(gain_ev: float) -> None:
    linear = srgb_to_linear(np.arange(256) / 255) * 2.0**gain_ev
    straight = linear < KNEE * min(1.0, 2.0**gain_ev)
    assert straight.sum() > 20
    exact = 255 * linear_to_srgb(linear[straight])
    assert np.abs(gain_table(gain_ev)[straight] - exact).max() < 0.5 + 1e-4


def test_pixels_follow_the_table_and_channels_stay_apart() -> None:
    codes = np.random.default_rng(1).integers(0, 256, (37, 53, 3), dtype=np.uint8)
    before = codes.copy()
    assert np.array_equal(apply_gain(codes, 0.5), gain_table(0.5)[codes])
    assert np.array_equal(codes, before)


@pytest.mark.parametrize("gain_ev", [-2.5, -0.5])
def test_darkening_keeps_the_hue_of_a_clipped_channel_and_the_white_of_white(gain_ev: float) -> None:
    aurora, white = (90, 255, 120), (255, 255, 255)
    codes = np.array([[aurora, white]], np.uint8)
    for shown in (apply_gain(codes, gain_ev), codes_of_light(light_of_codes(codes, gain_ev))):
        light = srgb_to_linear(shown / 255)
        np.testing.assert_allclose(light[0, 0], srgb_to_linear(np.array(aurora) / 255) * 2.0**gain_ev, rtol=0.05)
        assert shown[0, 1].tolist() == [255, 255, 255]
    linear = srgb_to_linear(codes / 255).astype(np.float32)
    np.testing.assert_allclose(codes_of_light(light_of_linear(linear, gain_ev)), apply_gain(codes, gain_ev), atol=1)


def test_a_view_into_a_larger_frame_works() -> None:
    codes = np.random.default_rng(2).integers(0, 256, (40, 60, 3), dtype=np.uint8)
    view = codes[3:30, 7:50]
    assert np.array_equal(apply_gain(view, 1.0), gain_table(1.0)[view])


def test_every_code_survives_the_way_through_light() -> None:
    assert np.array_equal(codes_of_light(light_of_codes(every_code(), 0.0)), every_code())


@pytest.mark.parametrize("gain_ev", [-2.0, 0.0, 0.5, 3.0])
def test_light_of_codes_agrees_with_the_table(gain_ev: float) -> None:
    by_light = codes_of_light(light_of_codes(every_code(), gain_ev)).astype(int)
    assert np.abs(by_light - apply_gain(every_code(), gain_ev)).max() <= 1
    assert (by_light == apply_gain(every_code(), gain_ev)).mean() > 0.97


def test_sixteen_bit_codes_are_read_on_their_own_scale() -> None:
    codes = np.arange(65536, dtype=np.uint16).reshape(256, 256, 1).repeat(3, axis=2)
    light = light_of_codes(codes, -1.0)
    expected = gain_with_rolloff(srgb_to_linear(codes / 65535).astype(np.float32), -1.0)
    assert np.abs(light / 65535 - expected).max() < 1e-5


def test_float_light_and_codes_give_the_same_pixels() -> None:
    codes = np.random.default_rng(3).integers(0, 256, (600, 20, 3), dtype=np.uint8)  # more rows than one band
    linear = srgb_to_linear(codes / 255).astype(np.float32)
    assert np.abs(light_of_linear(linear, 0.8).astype(int) - light_of_codes(codes, 0.8)).max() <= 1


def test_float_light_outside_the_range_is_clipped() -> None:
    linear = np.array([[[-0.1, 1.4, 0.5]]], np.float32)
    assert light_of_linear(linear, 0.0).tolist() == [[[0, 65535, 32768]]]


def test_one_rounding_is_close_to_exact() -> None:
    linear = np.linspace(0, 1, 300_000, dtype=np.float32).reshape(100, 1000, 3)
    exact = 255 * linear_to_srgb(gain_with_rolloff(linear, 0.5))
    assert np.abs(codes_of_light(light_of_linear(linear, 0.5)) - exact).max() < 0.5 + 0.03


def test_a_jpeg_is_decoded_to_rgb_with_the_gain() -> None:
    codes = np.zeros((32, 48, 3), np.uint8)
    codes[..., 0], codes[..., 2] = 180, 40
    done, jpeg = cv2.imencode(".jpg", codes[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 100])
    assert done
    shown = apply_gain_to_jpeg(bytes(jpeg), -1.0)
    assert shown.shape == (32, 48, 3)
    assert np.abs(shown.astype(int) - gain_table(-1.0)[codes]).max() <= 3


def test_no_jpeg_is_refused() -> None:
    with pytest.raises(ValueError, match="JPEG"):
        apply_gain_to_jpeg(b"none", 0.0)
