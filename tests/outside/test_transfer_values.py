"""Transfer functions against published values and the independent library colour-science.

sRGB: IEC 61966-2-1:1999. BT.709: Rec. ITU-R BT.709-6 (06/2015) item 1.2. Luminance weights: item 3.2.
"""

from __future__ import annotations

import colour
import numpy as np
import pytest

from lapsebench.core.transfer import (
    BT709_WEIGHTS,
    bt709_to_linear,
    linear_to_bt709,
    linear_to_srgb,
    srgb_table,
    srgb_to_linear,
)

RAMP = np.linspace(0, 1, 1001)


@pytest.mark.parametrize(
    ("code", "linear"),
    [(1, 0.000303527), (10, 0.003035270), (46, 0.0273209), (118, 0.1811642), (128, 0.2158605), (186, 0.4910208)],
)
def test_srgb_codes_decode_to_published_light(code: int, linear: float) -> None:
    assert float(srgb_table(256)[code]) == pytest.approx(linear, abs=1e-6)


@pytest.mark.parametrize(("linear", "code"), [(0.001, 0.01292), (0.018, 0.142826), (0.18, 0.461356), (0.5, 0.735357)])
def test_srgb_light_encodes_to_published_codes(linear: float, code: float) -> None:
    assert float(linear_to_srgb(linear)) == pytest.approx(code, abs=1e-6)


@pytest.mark.parametrize(("linear", "signal"), [(0.015, 0.0675), (0.18, 0.409007729), (0.5, 0.705515), (1.0, 1.0)])
def test_bt709_light_encodes_to_published_signal(linear: float, signal: float) -> None:
    assert float(linear_to_bt709(linear)) == pytest.approx(signal, abs=1e-6)


def test_transfers_equal_colour_science() -> None:
    np.testing.assert_allclose(srgb_to_linear(RAMP), colour.models.eotf_sRGB(RAMP), atol=1e-9)
    np.testing.assert_allclose(linear_to_bt709(RAMP), colour.models.oetf_BT709(RAMP), atol=1e-9)
    np.testing.assert_allclose(BT709_WEIGHTS[[0, 2]], colour.WEIGHTS_YCBCR["ITU-R BT.709"], atol=1e-4)


def test_every_code_survives_the_round_trip() -> None:
    for levels in (256, 65536):
        codes = np.arange(levels)
        back = np.rint(linear_to_srgb(srgb_table(levels).astype(float)) * (levels - 1))
        np.testing.assert_array_equal(back, codes)
    np.testing.assert_allclose(bt709_to_linear(linear_to_bt709(RAMP)), RAMP, atol=1e-9)
