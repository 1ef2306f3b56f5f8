"""Exposure against published tables.

Exposure value table: encyclopedia.kids.net.au/page/ex/Exposure_value. Tv column and the list of ExposureTime values of
Exif 2.2: win32 documentation of System.Photo.ExposureTime. APEX: Exif 2.2 (JEITA CP-3451) Annex C, second-hand.
"""

from __future__ import annotations

from fractions import Fraction
from math import log2

import pytest

from lapsebench.core.exposure import aperture_ev, exposure_ev, time_ev

EV_TABLE = [
    ("1", 1.0, 0),
    ("1", 1.4, 1),
    ("1/60", 5.6, 11),
    ("1/60", 8.0, 12),
    ("1/125", 5.6, 12),
    ("1/125", 8.0, 13),
    ("1/250", 5.6, 13),
    ("1/250", 8.0, 14),
    ("1/2000", 16.0, 19),
]
EXIF_TIMES = ["30", "15", "8", "4", "2", "1"] + [f"1/{n}" for n in (2, 4, 8, 15, 30, 60, 125, 250, 500, 1000, 2000)]
F_NUMBERS = [1, 1.4, 2, 2.8, 4, 5.6, 8, 11, 16, 22, 32]


@pytest.mark.parametrize(("time", "f_number", "ev"), EV_TABLE)
def test_exposure_value_table_is_met_exactly_at_true_marks(time: str, f_number: float, ev: int) -> None:
    seconds = float(Fraction(time))
    exposure = exposure_ev(seconds, f_number, 100)
    assert exposure is not None
    assert -exposure == pytest.approx(ev, abs=1e-9)
    assert log2(f_number**2 / seconds) == pytest.approx(ev, abs=0.13), "the nominal marks alone are off by up to 0.13"


@pytest.mark.parametrize(("place", "time"), list(enumerate(EXIF_TIMES)))
def test_exif_list_of_exposure_times_is_whole_stops(place: int, time: str) -> None:
    assert -time_ev(float(Fraction(time))) == pytest.approx(place - 5, abs=1e-9)


@pytest.mark.parametrize(("av", "f_number"), list(enumerate(F_NUMBERS)))
def test_apex_aperture_column_is_whole_stops(av: int, f_number: float) -> None:
    assert aperture_ev(f_number) == pytest.approx(av, abs=1e-9)


@pytest.mark.parametrize(
    ("f_number", "time", "iso", "ev100"),
    [
        (2.8, 10, 3200, -5.351),
        (2.8, 15, 3200, -5.936),
        (1.8, 4, 3200, -5.304),
        (1.4, 8, 1600, -6.029),
        (2, 20, 1600, -6.322),
        (4, 30, 800, -3.907),
    ],
)
def test_night_settings_lie_within_a_mark_of_their_nominal_exposure_value(
    f_number: float, time: float, iso: float, ev100: float
) -> None:
    """Arithmetic on nominal marks; true marks move each by no more than the sum of the largest nominal errors."""
    exposure = exposure_ev(time, f_number, iso)
    assert exposure is not None
    assert -exposure == pytest.approx(ev100, abs=0.13)
