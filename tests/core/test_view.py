"""Where a shot aims: within the picture, still at both ends, a zoom with one point that stays."""

from __future__ import annotations

from math import cos, radians, sin

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lapsebench.core.view import Aim, Patch, View, largest_width, patch_of

aims = st.builds(Aim, st.floats(0, 1), st.floats(0, 1), st.floats(0.1, 1))
turns = st.floats(-15, 15)
ratios = st.sampled_from([16 / 9, 3 / 2, 1.0, 9 / 16])


def corners(patch: Patch) -> np.ndarray:
    """Return the corners of a patch in the picture, (4, 2)."""
    a = radians(patch.turn_deg)
    out = []
    for u, v in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
        du, dv = u * patch.width / 2, v * patch.height / 2
        out.append((patch.x + du * cos(a) + dv * sin(a), patch.y + dv * cos(a) - du * sin(a)))
    return np.array(out)


@given(aims, turns, ratios)
def test_what_is_shown_lies_within_the_picture(aim: Aim, turn: float, ratio: float) -> None:
    source = (6000, 4000)
    patch = patch_of(aim, source, ratio, turn)
    inside = corners(patch)
    assert (inside >= -1e-6).all()
    assert (inside <= np.array(source) + 1e-6).all()
    assert patch.width / patch.height == pytest.approx(ratio)


@given(turns, ratios)
def test_the_largest_touches_the_edge(turn: float, ratio: float) -> None:
    inside = corners(patch_of(Aim(), (6000, 4000), ratio, turn))
    gaps = np.concatenate([inside.min(axis=0), (6000, 4000) - inside.max(axis=0)])
    assert gaps.min() == pytest.approx(0, abs=1e-6)


def test_unturned_the_largest_is_the_crop_of_the_shape() -> None:
    assert largest_width((6000, 4000), 16 / 9) == 6000
    assert largest_width((6000, 4000), 1.0) == 4000


@given(aims, aims)
def test_it_starts_and_ends_where_it_was_told_and_is_still_there(first: Aim, last: Aim) -> None:
    view = View(first, last)
    for share, aim in ((0.0, first), (1.0, last)):
        seen = view.at(share)
        assert (seen.x, seen.y, seen.scale) == pytest.approx((aim.x, aim.y, aim.scale), abs=1e-9)
    near = view.at(0.001)
    assert abs(near.x - first.x) + abs(near.y - first.y) < 1e-4


def test_a_zoom_keeps_one_point_where_it_is() -> None:
    """From all to an upper left part: the corner they share stays at the film's corner."""
    view = View(Aim(), Aim(0.25, 0.25, 0.5))
    for share in np.linspace(0, 1, 9):
        patch = patch_of(view.at(float(share)), (6000, 4000), 1.5)
        assert (patch.x - patch.width / 2, patch.y - patch.height / 2) == pytest.approx((0, 0), abs=1e-6)


def test_a_zoom_goes_by_equal_ratios() -> None:
    view = View(Aim(), Aim(scale=0.25))
    assert view.at(0.5).scale == pytest.approx(0.5)


@pytest.mark.parametrize("wrong", [(-0.1, 0.5, 1), (0.5, 1.1, 1), (0.5, 0.5, 0.01), (float("nan"), 0.5, 1)])
def test_nonsense_is_refused(wrong: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="out of its range"):
        Aim(*wrong)
