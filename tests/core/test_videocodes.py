"""Y'CbCr, wide primaries and the tables of signals against an independent library and the Recommendations' own numbers."""

from __future__ import annotations

from typing import Any

import colour
import numpy as np
import pytest

from lapsebench.core.hdr import PEAK_NITS
from lapsebench.core.videocodes import places, signal_table, to_bt2020, ycbcr_matrix


def test_primaries_become_those_of_bt_2020() -> None:
    """Rec. ITU-R BT.2087-0 annex 2 prints the matrix to four digits; rows keep white."""
    told = [[0.6274, 0.3293, 0.0433], [0.0691, 0.9195, 0.0114], [0.0164, 0.0880, 0.8956]]
    assert to_bt2020() == pytest.approx(np.array(told), abs=6e-5)
    assert to_bt2020().sum(axis=1) == pytest.approx(np.ones(3), abs=1e-6)


@pytest.mark.parametrize(("matrix", "name"), [(1, "ITU-R BT.709"), (9, "ITU-R BT.2020")])
@pytest.mark.parametrize("bits", [8, 10])
def test_codes_are_those_of_an_independent_library(matrix: int, name: str, bits: int) -> None:
    rgb = np.random.default_rng(2).uniform(0, 1, (100, 3))
    ours = np.column_stack([rgb, np.ones(100)]) @ ycbcr_matrix(matrix, bits).T
    weights = colour.WEIGHTS_YCBCR[name]
    other = colour.RGB_to_YCbCr(rgb, weights, in_bits=bits, out_legal=True, out_bits=bits, out_int=True)
    assert np.abs(ours - other).max() <= 0.501


@pytest.mark.parametrize(
    ("rgb", "eight", "ten"),
    [
        ((1, 1, 1), (235, 128, 128), (940, 512, 512)),
        ((0, 0, 0), (16, 128, 128), (64, 512, 512)),
        ((1, 0, 0), (63, 102, 240), (250, 409, 960)),
        ((0, 1, 0), (173, 42, 26), (691, 167, 105)),
        ((0, 0, 1), (32, 240, 118), (127, 960, 471)),
        ((0.5, 0.5, 0.5), (126, 128, 128), (502, 512, 512)),
    ],
)
def test_bars_are_those_of_bt_709(rgb: tuple[float, ...], eight: tuple[int, ...], ten: tuple[int, ...]) -> None:
    """Rec. ITU-R BT.709-6 item 4."""
    for bits, told in ((8, eight), (10, ten)):
        assert np.abs(ycbcr_matrix(1, bits) @ [*rgb, 1.0] - told).max() <= 0.51


@pytest.mark.parametrize(("transfer", "scale"), [(1, 1.0), (16, PEAK_NITS), (18, 1.0)])
def test_tables_are_finer_than_a_tenth_of_a_ten_bit_code(transfer: int, scale: float) -> None:
    light = np.geomspace(1e-7, 1, 20_000).astype(np.float32)
    direct: dict[int, Any] = {
        1: colour.models.eotf_inverse_sRGB,
        16: colour.models.eotf_inverse_ST2084,
        18: colour.models.oetf_BT2100_HLG,
    }
    with np.errstate(invalid="ignore"):
        told = direct[transfer](light.astype(float) * scale)
    assert np.abs(np.take(signal_table(transfer), places(light)) - told).max() * 876 < 0.15
