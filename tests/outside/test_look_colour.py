"""Colours of a look against the independent library colour-science.

Warmth and tint: correlated colour temperature and distance from the locus by Ohno 2013 (Leukos 10, p. 47) of the light
that the look makes white. Saturation: CIE 1931 luminance, and chromaticity on one line from white.
"""

from __future__ import annotations

import colour
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from lapsebench.core.look import Look
from lapsebench.core.lookcolour import MOST_MIRED, MOST_TINT, look_multipliers
from lapsebench.imaging.grade import graded

BT709 = colour.RGB_COLOURSPACES["ITU-R BT.709"]


def xyz(light: NDArray[np.float32]) -> NDArray[np.float64]:
    """Return CIE XYZ of linear BT.709."""
    return np.asarray(light.astype(float) @ BT709.matrix_RGB_to_XYZ.T, dtype=float)


def white_light(look: Look) -> tuple[float, float]:
    """Return u, v of CIE 1960 of the light that the look makes neutral."""
    neutral = 1 / np.array(look_multipliers(look.warmth, look.tint, 0))
    xy = colour.XYZ_to_xy(BT709.matrix_RGB_to_XYZ @ neutral)
    u, v = colour.xy_to_UCS_uv(xy)
    return float(u), float(v)


@pytest.mark.parametrize("warmth", [-100.0, -50.0, 0.0, 50.0, 100.0])
def test_warmth_moves_white_along_the_locus_in_even_mired(warmth: float) -> None:
    plain = colour.temperature.uv_to_CCT_Ohno2013(white_light(Look()))
    moved = colour.temperature.uv_to_CCT_Ohno2013(white_light(Look(warmth=warmth)))
    assert 1e6 / plain[0] - 1e6 / moved[0] == pytest.approx(MOST_MIRED * warmth / 100, abs=1.0)
    assert moved[1] == pytest.approx(plain[1], abs=5e-4)


@pytest.mark.parametrize("tint", [-100.0, -50.0, 50.0, 100.0])
def test_tint_moves_white_square_to_the_locus(tint: float) -> None:
    plain = colour.temperature.uv_to_CCT_Ohno2013(white_light(Look()))
    moved = colour.temperature.uv_to_CCT_Ohno2013(white_light(Look(tint=tint)))
    assert 1000 * (moved[1] - plain[1]) == pytest.approx(MOST_TINT * tint / 100, abs=0.5)
    assert 1e6 / moved[0] == pytest.approx(1e6 / plain[0], abs=1.0)


@given(st.floats(-100, 100))
def test_saturation_keeps_luminance_and_the_side_of_white_that_a_colour_is_on(saturation: float) -> None:
    light = np.random.default_rng(2).uniform(0.005, 1, (20, 30, 3)).astype(np.float32)
    before, after = xyz(light), xyz(graded(light, Look(saturation=saturation)))
    np.testing.assert_allclose(after[..., 1], before[..., 1], atol=1e-4)  # weights of four digits, and exact ones
    white = np.array(colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"])
    one, other = (colour.XYZ_to_xy(seen) - white for seen in (before, after))
    along = (one * other).sum(axis=-1)
    across = one[..., 0] * other[..., 1] - one[..., 1] * other[..., 0]
    assert (along >= -1e-9).all()
    assert np.abs(across).max() < 1e-4
