"""The HDR signals and wide primaries against an independent library and the Recommendations' own numbers."""

from __future__ import annotations

from typing import Any

import colour
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lapsebench.core.videocodes import (
    PEAK_NITS,
    WHITE_NITS,
    hlg_scene_share,
    hlg_signal,
    peak_share,
    places,
    pq_signal,
    signal_table,
    to_bt2020,
    ycbcr_matrix,
)


def test_pq_is_st_2084() -> None:
    """SMPTE ST 2084:2014 as in colour-science; the printed values are those of BT.2100-2 table 4 worked out by it."""
    nits = np.array([0.1, 1, 10, 100, 203, 1000, 4000, 10000])
    told = [0.0623369, 0.1499457, 0.2996991, 0.5080784, 0.5806889, 0.7518271, 0.9025724, 1.0]
    assert pq_signal(nits) == pytest.approx(told, abs=1e-6)
    many = np.geomspace(1e-4, 1e4, 500)
    assert pq_signal(many) == pytest.approx(colour.models.eotf_inverse_ST2084(many), abs=1e-9)


def test_hlg_is_bt_2100() -> None:
    """BT.2100-2 table 5; colour-science 0.4."""
    assert hlg_signal([1 / 12, 0.265, 1.0]) == pytest.approx([0.5, 0.75003, 1.0], abs=1e-4)
    many = np.linspace(0, 1, 500)
    with np.errstate(invalid="ignore"):  # colour takes logarithms it does not use
        told = colour.models.oetf_BT2100_HLG(many)
    assert hlg_signal(many) == pytest.approx(told, abs=1e-7)


def test_reference_white_is_75_percent_hlg_and_58_percent_pq() -> None:
    """Report ITU-R BT.2408 table 1: 203 cd/m2 on a display of 1000."""
    share = WHITE_NITS / PEAK_NITS
    assert hlg_signal(share * hlg_scene_share(share)) == pytest.approx(0.75, abs=0.001)
    assert pq_signal(WHITE_NITS) == pytest.approx(0.58, abs=0.001)


def test_the_display_shows_hlg_light_as_it_was_meant() -> None:
    """Back through colour-science's EOTF of a display of 1000 cd/m2: the light we began with."""
    light = np.random.default_rng(1).uniform(0, 1, (200, 3))
    luminance = light @ [0.2627, 0.6780, 0.0593]
    signal = hlg_signal(light * hlg_scene_share(luminance)[:, None])
    shown = colour.models.eotf_BT2100_HLG(signal, L_B=0, L_W=PEAK_NITS, gamma=1.2)
    assert shown / PEAK_NITS == pytest.approx(light, abs=2e-4)


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


@given(st.floats(0, 40))
def test_the_peak_is_neared_softly_and_never_passed(nits_share: float) -> None:
    strongest = np.array([nits_share, nits_share + 1e-3])
    shown = strongest * peak_share(strongest)
    assert shown.max() <= 1 + 1e-12
    assert shown[1] >= shown[0] - 1e-12
    if nits_share <= 0.499:
        assert shown == pytest.approx(strongest)  # exact up to 500 cd/m2


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
