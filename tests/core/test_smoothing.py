"""The smoother agrees with other libraries on random series, and keeps what it should."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray
from pybaselines.utils import whittaker_smooth

from lapsebench.core.smoothing import lambda_for_period, whittaker

Floats = NDArray[np.float64]
SERIES = arrays(np.float64, st.integers(5, 200), elements=st.floats(-20, 20))


@settings(deadline=None)
@given(SERIES, st.floats(0.01, 1e4), st.integers(0, 2**32 - 1))
def test_it_equals_the_weighted_smoother_of_an_independent_library(series: Floats, lam: float, seed: int) -> None:
    weights = np.random.default_rng(seed).uniform(0.1, 2.0, series.size)
    expected: Floats = whittaker_smooth(series, lam=lam, diff_order=2, weights=weights)
    np.testing.assert_allclose(whittaker(series, lam, weights=weights), expected, atol=1e-6)


@given(st.floats(-5, 5), st.floats(-1, 1), st.floats(0.1, 1e6))
def test_a_straight_line_passes_unchanged(level: float, slope: float, lam: float) -> None:
    line = np.asarray(level + slope * np.arange(50), dtype=np.float64)
    np.testing.assert_allclose(whittaker(line, lam), line, atol=1e-5)


@pytest.mark.parametrize("period", [8.0, 25.0, 100.0])
def test_a_sine_of_the_given_period_is_halved(period: float) -> None:
    """Gain H(w) = 1 / (1 + 4 lam (1 - cos w)^2), algebra."""
    frames = np.arange(2000)
    sine = np.sin(2 * np.pi * frames / period)
    smooth = whittaker(sine, lambda_for_period(period))
    middle = slice(800, 1200)
    gain = np.dot(smooth[middle], sine[middle]) / np.dot(sine[middle], sine[middle])
    assert gain == pytest.approx(0.5, abs=0.01)


def test_missing_values_are_bridged_and_all_missing_stays_missing() -> None:
    line = np.arange(20.0)
    line[5:9] = np.nan
    np.testing.assert_allclose(whittaker(line, 10.0), np.arange(20.0), atol=1e-6)
    assert np.isnan(whittaker(np.full(6, np.nan), 1.0)).all()


@pytest.mark.parametrize("count", [1, 2])
def test_short_series_are_kept_or_averaged(count: int) -> None:
    assert np.isfinite(whittaker(np.arange(float(count)), 5.0)).all()
