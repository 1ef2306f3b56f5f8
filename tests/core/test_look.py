"""Sliders of the look: nothing at 0, curves that rise without a break, black stays black, colours stay themselves."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lapsebench.core.look import SLIDERS, Look, LookPreset, limits, look_preset_of, with_look_preset
from lapsebench.core.lookcolour import look_multipliers, saturation_share
from lapsebench.core.looktones import MOST_SLOPE, PIVOT, TOE, TOE_EV, LookTone, contrasted, opened, rolled, tone_table
from lapsebench.core.transfer import BT709_WEIGHTS

EITHER_WAY = st.floats(-100, 100)
ONE_WAY = st.floats(0, 100)
PEAKS = st.floats(1, 50)
STOPS = np.linspace(-20, 6, 26 * 64 + 1)
LIGHT = np.exp2(STOPS)
PIXELS = st.lists(st.floats(0, 1, width=32), min_size=3, max_size=3)


def set_to(name: str, value: float) -> Look:
    """Return a look with one slider set."""
    sliders: dict[str, Any] = {name: value}
    return Look(**sliders)


def test_an_unset_look_is_plain_and_every_slider_makes_it_otherwise() -> None:
    assert Look().is_plain
    for name in set(SLIDERS) - {"lut_share"}:
        assert not set_to(name, limits(name)[1]).is_plain


def test_a_table_counts_where_it_has_a_share() -> None:
    assert not Look(lut="a.cube").is_plain
    assert Look(lut="a.cube", lut_share=0).is_plain
    assert Look(lut_share=50).is_plain


@pytest.mark.parametrize("name", SLIDERS)
def test_what_is_beyond_a_slider_is_refused(name: str) -> None:
    least, most = limits(name)
    assert getattr(set_to(name, least), name) == least
    for beyond in (least - 0.1, most + 0.1, float("nan"), float("inf")):
        with pytest.raises(ValueError, match=name):
            set_to(name, beyond)


@given(EITHER_WAY, EITHER_WAY, ONE_WAY, PEAKS)
def test_tones_keep_their_order_and_end_at_the_peak(contrast: float, shadows: float, highlights: float, peak: float) -> None:
    tone = LookTone(contrast, shadows, highlights, peak)
    shown = tone.shown(LIGHT)
    assert (np.diff(shown) >= 0).all()
    assert shown.max() <= peak
    assert tone.shown(np.array([0.0]))[0] == 0
    assert tone.shown(np.array([2 * peak]))[0] == pytest.approx(peak)


@given(EITHER_WAY, EITHER_WAY, st.floats(25, 100))
def test_tones_have_no_steps(contrast: float, shadows: float, highlights: float) -> None:
    below_peak = LIGHT[LIGHT < 1]
    slope = np.diff(np.log2(LookTone(contrast, shadows, highlights).shown(below_peak))) * 64
    assert slope.min() > 0.1
    assert slope.max() < 3
    assert np.abs(np.diff(slope)).max() < 0.05


def test_at_0_nothing_moves() -> None:
    assert opened(LIGHT, 0) is LIGHT
    assert contrasted(LIGHT, 0) is LIGHT
    assert np.array_equal(rolled(LIGHT, 0), np.minimum(LIGHT, 1))
    assert np.abs(opened(LIGHT, 1e-6) / LIGHT - 1).max() < 1e-6
    assert np.abs(contrasted(LIGHT, 1e-6) / LIGHT - 1).max() < 1e-6
    assert np.abs(rolled(LIGHT, 1e-6) - np.minimum(LIGHT, 1)).max() < 1e-6


@pytest.mark.parametrize("contrast", [-100, -40, 40, 100])
def test_contrast_turns_about_the_mid_grey_of_night(contrast: float) -> None:
    around = PIVOT * np.exp2(np.array([-1e-3, 0, 1e-3]))
    shown = np.log2(contrasted(around, contrast))
    assert shown[1] == pytest.approx(np.log2(PIVOT))
    assert (shown[2] - shown[0]) / 2e-3 == pytest.approx(MOST_SLOPE ** (contrast / 100), rel=1e-4)
    ends = np.array([PIVOT**2 / 4, PIVOT**2, 1, 4])
    np.testing.assert_allclose(contrasted(ends, contrast), ends)


@pytest.mark.parametrize("shadows", [-100, -50, 50, 100])
def test_shadows_move_the_dark_parts_only(shadows: float) -> None:
    np.testing.assert_allclose(
        opened(np.array([TOE[0] / 9, TOE[0]]), shadows) / [TOE[0] / 9, TOE[0]], 2 ** (TOE_EV * shadows / 100)
    )
    bright = LIGHT[TOE[1] <= LIGHT]
    np.testing.assert_array_equal(opened(bright, shadows), bright)
    assert opened(np.zeros(1), shadows)[0] == 0


@given(st.floats(1, 100), PEAKS)
def test_highlights_leave_straight_light_without_a_kink_and_end_level(highlights: float, peak: float) -> None:
    knee, end = peak * (1 - 0.6 * highlights / 100), peak * (1 + highlights / 100)
    near = 1e-4 * (end - knee)
    below, above = rolled(np.array([knee, knee + near]), highlights, peak)
    assert below == pytest.approx(knee)
    assert (above - below) / near == pytest.approx(1, abs=1e-3)
    assert rolled(np.array([end - near]), highlights, peak)[0] == pytest.approx(peak, rel=1e-6)


@given(EITHER_WAY, EITHER_WAY, ONE_WAY, PEAKS)
def test_the_table_is_the_curve(contrast: float, shadows: float, highlights: float, peak: float) -> None:
    tone = LookTone(contrast, shadows, highlights, peak)
    table, per_root = tone_table(tone)
    roots = np.random.default_rng(1).uniform(0, np.sqrt(peak), 2000)
    read = np.interp(roots * per_root, np.arange(table.size), table.astype(float)) ** 2
    assert np.abs(read - tone.shown(roots**2)).max() < (2e-6 if highlights >= 10 else 6e-5) * peak


def test_no_warmth_and_no_tint_are_no_colour() -> None:
    assert look_multipliers(0, 0, 0) == (1, 1, 1)
    assert look_multipliers(0, 0, -1) == (0.5, 0.5, 0.5)
    np.testing.assert_allclose(look_multipliers(1e-6, 1e-6, 0), 1, atol=1e-6)


@given(EITHER_WAY, EITHER_WAY, st.floats(-3, 3))
def test_a_grey_moves_by_the_exposure_alone(warmth: float, tint: float, exposure: float) -> None:
    assert np.array(look_multipliers(warmth, tint, exposure)) @ BT709_WEIGHTS == pytest.approx(2**exposure)


def test_warmth_and_tint_go_the_way_their_names_say_and_as_far_either_way() -> None:
    steps = np.linspace(-100, 100, 21)
    warm = np.log2([look_multipliers(step, 0, 0) for step in steps])
    assert (np.diff(warm[:, 0]) > 0).all()
    assert (np.diff(warm[:, 2]) < 0).all()
    np.testing.assert_allclose(warm[0], -warm[-1], atol=0.06)
    magenta = np.log2([look_multipliers(0, step, 0) for step in steps])
    assert (np.diff(magenta[:, 1]) < 0).all()
    np.testing.assert_allclose(magenta[0], -magenta[-1], atol=0.06)


def saturated(
    pixel: list[float], saturation: float, peak: float
) -> tuple[np.ndarray[tuple[int], np.dtype[np.float64]], float]:
    """Return a pixel with saturation, and its luminance before."""
    colour = np.array(pixel)
    luma = float(colour @ BT709_WEIGHTS)
    grey, least, most = (np.array([value], np.float32) for value in (luma, colour.min(), colour.max()))
    share = float(saturation_share(grey, least, most, saturation, peak)[0])
    return luma + share * (colour - luma), luma


@given(PIXELS, EITHER_WAY, st.floats(1, 4))
def test_saturation_keeps_luminance_and_stays_within_the_gamut(pixel: list[float], saturation: float, peak: float) -> None:
    shown, luma = saturated(pixel, saturation, peak)
    assert shown @ BT709_WEIGHTS == pytest.approx(luma, abs=1e-6)
    assert shown.min() >= -1e-6
    assert shown.max() <= peak + 1e-6
    away = np.array(pixel) - luma
    assert (np.sign(shown - luma) * np.sign(away) >= 0).all()


@given(PIXELS, EITHER_WAY, EITHER_WAY)
def test_more_saturation_is_never_less(pixel: list[float], one: float, other: float) -> None:
    less, more = (np.ptp(saturated(pixel, saturation, 1)[0]) for saturation in sorted((one, other)))
    assert less <= more + 1e-6


def test_saturation_is_grey_at_the_least_and_double_for_pale_colours_at_the_most() -> None:
    assert np.ptp(saturated([0.1, 0.4, 0.2], -100, 1)[0]) < 1e-6
    pale = [0.3, 0.302, 0.301]
    assert np.ptp(saturated(pale, 100, 1)[0]) == pytest.approx(2 * np.ptp(pale), rel=0.02)
    assert saturated([0.1, 0.4, 0.2], 0, 1)[0] == pytest.approx([0.1, 0.4, 0.2])


def test_presets_are_known_again_and_leave_exposure_and_table() -> None:
    own = Look(exposure=0.5, lut="a.cube", lut_share=40, saturation=77)
    assert look_preset_of(own) is None
    for preset in LookPreset:
        look = with_look_preset(own, preset)
        assert (look.exposure, look.lut, look.lut_share) == (0.5, "a.cube", 40)
        assert look_preset_of(look) is preset
        assert not replace(look, exposure=0, lut=None).is_plain
