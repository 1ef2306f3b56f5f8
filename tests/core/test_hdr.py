"""PQ and HLG, both ways, against an independent library and the Recommendations' own numbers."""

from __future__ import annotations

import colour
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lapsebench.core.hdr import (
    PEAK_NITS,
    WHITE_NITS,
    hlg_display_share,
    hlg_scene,
    hlg_scene_share,
    hlg_signal,
    peak_share,
    pq_nits,
    pq_signal,
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


@given(st.floats(0, 10_000), st.floats(0, 1))
def test_light_comes_back_from_both_signals(nits: float, scene: float) -> None:
    """To a millionth of the light, or of the signal where that is nearly flat in the light."""
    assert pq_nits(pq_signal(nits)) == pytest.approx(nits, rel=1e-6, abs=1e-6)
    assert hlg_scene(hlg_signal(scene)) == pytest.approx(scene, rel=1e-6, abs=1e-12)


@given(st.floats(0, 1))
def test_signals_come_back_from_both_lights(signal: float) -> None:
    assert pq_signal(pq_nits(signal)) == pytest.approx(signal, abs=1e-6)
    assert hlg_signal(hlg_scene(signal)) == pytest.approx(signal, abs=1e-6)


def test_decoding_is_that_of_an_independent_library() -> None:
    """SMPTE ST 2084:2014 and Rec. ITU-R BT.2100-2 table 5 in colour-science."""
    signal = np.linspace(0, 1, 1001)
    assert pq_nits(signal) == pytest.approx(colour.models.eotf_ST2084(signal), rel=1e-9, abs=1e-9)
    assert hlg_scene(signal) == pytest.approx(colour.models.oetf_inverse_BT2100_HLG(signal), abs=1e-7)
    scene = hlg_scene(np.random.default_rng(3).uniform(0, 1, (200, 3)))
    shown = scene * hlg_display_share(scene @ np.array([0.2627, 0.6780, 0.0593]))[:, None]
    told = colour.models.ootf_BT2100_HLG(scene, L_B=0, L_W=PEAK_NITS, gamma=1.2)
    assert PEAK_NITS * shown == pytest.approx(told, rel=1e-6)


@given(st.floats(0, 40))
def test_the_peak_is_neared_softly_and_never_passed(nits_share: float) -> None:
    strongest = np.array([nits_share, nits_share + 1e-3])
    shown = strongest * peak_share(strongest)
    assert shown.max() <= 1 + 1e-12
    assert shown[1] >= shown[0] - 1e-12
    if nits_share <= 0.499:
        assert shown == pytest.approx(strongest)  # exact up to 500 cd/m2
