"""Camera exposure is counted at true marks, whatever way the file writes the nominal ones."""

from __future__ import annotations

from fractions import Fraction
from math import log2

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lapsebench.core.exposure import aperture_ev, exposure_ev, guess_marks, shutter_text, speed_ev, time_ev


@pytest.mark.parametrize(("nominal", "true"), [(20, 20.1587), (15, 16), (10, 10.0794), (1 / 60, 1 / 64), (0.3, 0.31498)])
def test_shutter_marks_resolve_to_true_times(nominal: float, true: float) -> None:
    assert 2 ** time_ev(nominal) == pytest.approx(true, rel=1e-4)


def test_one_click_is_a_third_of_a_stop() -> None:
    """20 s to 15 s is 1/3 stop at true marks, not log2(20 / 15) = 0.415 (arithmetic)."""
    assert time_ev(20) - time_ev(15) == pytest.approx(1 / 3, abs=1e-9)


@pytest.mark.parametrize(("nominal", "true"), [(1.4, 1.4142), (1.8, 1.7818), (2.8, 2.8284), (5.6, 5.6569), (1.2, 1.1892)])
def test_aperture_marks_resolve_to_true_stops(nominal: float, true: float) -> None:
    assert 2 ** (aperture_ev(nominal) / 2) == pytest.approx(true, rel=1e-4)


@given(st.fractions(min_value=Fraction(1, 8000), max_value=Fraction(3600)))
def test_no_time_moves_by_more_than_the_largest_error_of_a_mark(time: Fraction) -> None:
    assert abs(time_ev(float(time)) - log2(float(time))) < 0.115


def test_a_phone_time_that_is_no_mark_is_taken_as_it_is() -> None:
    assert time_ev(1 / 33) == pytest.approx(log2(1 / 33))
    assert time_ev(2.718) == pytest.approx(log2(2.718))


def test_half_stop_dials_are_recognised() -> None:
    assert guess_marks([0.7, 1.5, 2]) == "half"
    assert guess_marks([10, 13, 20]) == "third"
    assert time_ev(6, "half") == pytest.approx(log2(5.657), abs=1e-3)


@pytest.mark.parametrize(("iso", "stops"), [(100, 0), (125, 1 / 3), (640, 8 / 3), (1600, 4), (6400, 6), (1250, 11 / 3)])
def test_speeds_snap_to_marks(iso: float, stops: float) -> None:
    assert speed_ev(iso) == pytest.approx(stops, abs=1e-9)


def test_unknown_settings_are_unknown_not_zero() -> None:
    assert exposure_ev(None, 2.8, 1600) is None
    assert exposure_ev(10, 2.8, None) is None
    assert exposure_ev(0, 2.8, 1600) is None
    assert exposure_ev(float("nan"), 2.8, 1600) is None


def test_a_manual_lens_counts_as_one_constant() -> None:
    longer, shorter = exposure_ev(8, None, 1600), exposure_ev(4, None, 1600)
    assert longer is not None and shorter is not None
    assert longer - shorter == pytest.approx(1.0)


@pytest.mark.parametrize(("time", "text"), [(10, "10 s"), (0.4, "0.4 s"), (1 / 60, "1/60 s"), (2.5, "2.5 s")])
def test_times_read_as_a_photographer_writes_them(time: float, text: str) -> None:
    assert shutter_text(time) == text
