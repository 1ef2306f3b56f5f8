"""Light for deep films: the same pictures as the screen shows, without steps; with headroom where the film has it."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from lapsebench.core.gains import GainEv
from lapsebench.core.response import Origin, Response
from lapsebench.core.transfer import srgb_table, srgb_to_linear
from lapsebench.imaging.apply import light_of_codes, light_of_linear, light_of_raw
from lapsebench.imaging.deep import deep_of_codes, deep_of_linear, deep_of_raw
from lapsebench.imaging.framing import scaled

GAINS: list[GainEv] = [0.0, 0.8, -1.3, (0.2, -0.1, 0.4)]


def picture(kind: type = np.uint8) -> NDArray[np.generic]:
    """All greys, saturated colours, and white."""
    random = np.random.default_rng(6)
    codes = random.integers(0, 256, (40, 64, 3))
    codes[:8] = np.arange(512).reshape(8, 64, 1) // 2
    codes[8:12] = 255
    return (codes * (257 if kind is np.uint16 else 1)).astype(kind)


def camera_curve() -> tuple[Response, ...]:
    """A curve other than sRGB: more contrast."""
    codes = np.linspace(0.01, 1, 60)
    ev = 1.2 * np.log2(srgb_to_linear(codes))
    return (Response(tuple(codes), tuple(ev), Origin.MEASURED),) * 3


@pytest.mark.parametrize("gain_ev", GAINS)
@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
@pytest.mark.parametrize("curve", [(), camera_curve()], ids=["sRGB", "camera"])
def test_without_headroom_it_is_what_the_screen_shows(gain_ev: GainEv, kind: type, curve: tuple[Response, ...]) -> None:
    codes = picture(kind)
    assert (
        np.abs(deep_of_codes(codes, gain_ev, curve, headroom=False) - light_of_codes(codes, gain_ev, curve) / 65535).max()
        < 1e-5
    )
    linear = srgb_table(256)[picture()]
    shown = light_of_linear(linear, gain_ev, curve) / 65535
    assert np.abs(deep_of_linear(linear, gain_ev, curve, headroom=False) - shown).max() < 1e-5
    bright = 1.7 * linear - 0.01
    assert np.abs(deep_of_raw(bright, gain_ev, headroom=False) - light_of_raw(bright, gain_ev) / 65535).max() < 1e-5


@pytest.mark.parametrize("curve", [(), camera_curve()], ids=["sRGB", "camera"])
def test_with_headroom_raised_light_goes_on_above_white(curve: tuple[Response, ...]) -> None:
    codes = picture()
    plain = deep_of_codes(codes, 0.0, curve, headroom=True)
    raised = deep_of_codes(codes, 1.0, curve, headroom=True)
    rolled = deep_of_codes(codes, 1.0, curve, headroom=False)
    assert raised.max() == pytest.approx(2, abs=1e-3)
    assert rolled.max() <= 1
    if not curve:
        assert raised == pytest.approx(2 * plain, abs=1e-6)
    low = rolled < 0.7
    assert raised[low] == pytest.approx(rolled[low], abs=2e-3)
    linear = deep_of_linear(srgb_table(256)[codes], 1.0, curve, headroom=True)
    assert linear == pytest.approx(raised, abs=2e-3)


def test_a_raw_still_keeps_its_headroom_and_its_white() -> None:
    ramp = np.linspace(-0.02, 3, 400, dtype=np.float32)[None, :, None] * np.array([0.3, 1, 0.5], np.float32)
    kept = deep_of_raw(ramp, 0.5, headroom=True)
    assert kept == pytest.approx(ramp * 2**0.5, abs=1e-5)
    white = np.full((1, 1, 3), 1.1, np.float32)
    assert deep_of_raw(white, -2.0, headroom=True) == pytest.approx(np.ones((1, 1, 3)))
    assert deep_of_raw(white, 1.0, headroom=True) == pytest.approx(2.2 * np.ones((1, 1, 3)))


def test_colours_beyond_srgb_are_kept_only_with_headroom() -> None:
    wide = np.array([[[-0.1, 0.6, 0.02]]], np.float32)
    assert deep_of_linear(wide, 0.5, headroom=True)[0, 0, 0] < -0.1
    assert deep_of_linear(wide, 0.5, headroom=False).min() == 0


def test_gradients_are_finer_than_sixteen_bits() -> None:
    fine = np.linspace(0.001, 0.00102, 500, dtype=np.float32).reshape(1, 500, 1).repeat(3, 2)
    assert len(np.unique(deep_of_linear(fine, 0.1, headroom=False))) > 400
    assert len(np.unique(light_of_linear(fine, 0.1))) < 5


@pytest.mark.parametrize("size", [(50, 30), (128, 80), (333, 217)])
def test_stars_neither_vanish_nor_ring_at_any_size(size: tuple[int, int]) -> None:
    sky = np.full((80, 128, 3), 0.01, np.float32)
    sky[40, 64] = sky[20, 30] = 3.0
    found = scaled(sky, size)
    assert found.shape == (size[1], size[0], 3)
    assert found.min() >= 0.01 - 1e-6  # no dark ring
    assert found.max() <= 3.0 + 1e-6
    if size[0] <= 128:
        share = (found - 0.01).sum() / (sky - 0.01).sum() * (128 * 80) / (size[0] * size[1])
        assert share == pytest.approx(1, abs=1e-4)
    else:
        assert found.max() > 1.5
