"""What luma tells of the light of a white point before a sky of any colour."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import brentq

from lapsebench.core.transfer import linear_to_srgb, srgb_table, srgb_to_linear
from lapsebench.core.whitelight import LUMA, into_point, luma_share

GREYS = srgb_table(4096).astype(float)
INTO = into_point(1)
light = st.floats(0.01, 0.4)


@given(light, light, light, st.floats(0.002, 0.15))
def test_white_light_is_found_again_from_luma(red: float, green: float, blue: float, point: float) -> None:
    """Luma as ITU-T T.871 has it, of codes as IEC 61966-2-1 has them, solved for the light of the point by SciPy."""
    colour = np.array([red, green, blue])

    def grey(more: float) -> float:
        return float(srgb_to_linear(linear_to_srgb(np.minimum(colour + more, 1)) @ LUMA))

    def told(of_point: float) -> float:
        return float(np.mean([(grey(up * of_point) - grey(0)) / up for up in INTO]))

    measured = told(point)
    assume(measured < 1.9 * point)  # no sky is so magenta
    share = luma_share(np.array([measured]), np.array([grey(0)]), colour[None], GREYS, into=INTO)[0]
    exact = brentq(lambda of_point: told(of_point) - measured, 1e-6, 0.5)
    assert measured / share == pytest.approx(exact, rel=0.01)


def test_before_grey_luma_tells_white_light_as_it_is() -> None:
    around = np.array([0.01, 0.1, 0.4])
    assert luma_share(np.full(3, 0.02), around, np.repeat(around[:, None], 3, axis=1), GREYS, into=INTO) == pytest.approx(
        1, abs=0.003
    )


def test_the_unit_of_the_colour_does_not_matter_and_no_light_does_no_harm() -> None:
    around, told = np.full(3, 0.05), np.array([0.01, 0.0, -0.01])
    colour = np.array([[0.02, 0.1, 0.03]] * 3)
    share = luma_share(told, around, colour, GREYS, into=INTO)
    assert luma_share(told, around, 7 * colour, GREYS, into=INTO) == pytest.approx(share, rel=0.02)
    assert np.isfinite(luma_share(told, np.zeros(3), np.zeros((3, 3)), GREYS, into=INTO)).all()
    assert (share > 1).all()
