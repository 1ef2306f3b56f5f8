"""The metering area: how much of each tile it covers, and that edits keep it in the picture."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lapsebench.core.area import (
    LEAST_SIDE,
    AreaKind,
    Box,
    MeteringArea,
    box_between,
    coverage,
    grown_box,
    moved_box,
    pulled,
    raised,
    skyline_at,
)

SHARES = st.floats(0, 1)
MOVES = st.floats(-2, 2)
GRIDS = [(43, 64), (64, 43)]


@st.composite
def boxes(draw: st.DrawFn) -> Box:
    """Return a box between any two corners."""
    return box_between((draw(SHARES), draw(SHARES)), (draw(SHARES), draw(SHARES)))


@given(boxes(), st.sampled_from(GRIDS))
def test_a_rectangle_covers_as_much_as_its_sides_say(box: Box, grid: tuple[int, int]) -> None:
    mask = coverage(MeteringArea(AreaKind.RECTANGLE, box), *grid)
    assert mask.shape == grid
    assert mask.dtype == np.float32
    assert 0 <= mask.min() <= mask.max() <= 1 + 1e-6
    assert mask.mean() == pytest.approx(box[2] * box[3], abs=1e-5)


@given(boxes(), st.sampled_from(GRIDS))
def test_an_ellipse_covers_pi_quarters_of_its_box(box: Box, grid: tuple[int, int]) -> None:
    mask = coverage(MeteringArea(AreaKind.ELLIPSE, box), *grid)
    edge = (box[2] / grid[0] + box[3] / grid[1]) / 8  # half the points that its edge runs through
    assert mask.mean() == pytest.approx(math.pi / 4 * box[2] * box[3], abs=edge)
    assert (mask <= coverage(MeteringArea(AreaKind.RECTANGLE, box), *grid) + 0.13).all()


@given(st.lists(SHARES, min_size=1, max_size=80), st.sampled_from(GRIDS))
def test_sky_and_ground_are_the_whole_picture(skyline: list[float], grid: tuple[int, int]) -> None:
    sky, ground = (coverage(MeteringArea(kind, horizon=tuple(skyline)), *grid) for kind in (AreaKind.SKY, AreaKind.GROUND))
    np.testing.assert_allclose(sky + ground, 1, atol=1e-6)
    places = (np.arange(grid[1]) + 0.5) / grid[1]
    np.testing.assert_allclose(sky.mean(axis=0), skyline_at(tuple(skyline), places), atol=1e-5)


@pytest.mark.parametrize("kind", [AreaKind.WHOLE, AreaKind.SKY, AreaKind.GROUND])
def test_without_a_horizon_everything_counts(kind: AreaKind) -> None:
    assert (coverage(MeteringArea(kind), 43, 64) == 1).all()


@given(boxes(), MOVES, MOVES)
def test_boxes_stay_in_the_picture(box: Box, across: float, down: float) -> None:
    for edited in (moved_box(box, across, down), grown_box(box, across, down)):
        assert MeteringArea(AreaKind.RECTANGLE, edited).box == edited
    assert moved_box(box, across, down)[2:] == box[2:]
    assert box == MeteringArea(AreaKind.RECTANGLE, box).box


@given(st.lists(SHARES, min_size=2, max_size=64), SHARES, MOVES)
def test_skylines_stay_in_the_picture(skyline: list[float], place: float, by: float) -> None:
    whole, point = raised(tuple(skyline), by), pulled(tuple(skyline), place, by, 1 / 7)
    for edited in (whole, point):
        assert MeteringArea(AreaKind.SKY, horizon=edited).horizon == edited
    far = np.abs((np.arange(len(skyline)) + 0.5) / len(skyline) - place) >= 1 / 7
    np.testing.assert_array_equal(np.array(point)[far], np.array(skyline)[far])


def test_a_pulled_point_goes_where_the_pointer_is() -> None:
    line = pulled((0.5,) * 64, 0.5 + 0.5 / 64, -0.2, 1 / 7)
    assert min(line) == pytest.approx(0.3)
    assert line[0] == line[-1] == 0.5


@pytest.mark.parametrize(
    "wrong",
    [
        {"box": (0.8, 0.1, 0.4, 0.4)},
        {"box": (-0.1, 0.1, 0.4, 0.4)},
        {"box": (0.1, 0.1, LEAST_SIDE / 2, 0.4)},
        {"box": (math.nan, 0.1, 0.4, 0.4)},
        {"horizon": (0.5, 1.5)},
        {"horizon": (math.nan,)},
        {"horizon": (0.5,) * 1000},
    ],
)
def test_what_lies_outside_the_picture_is_refused(wrong: dict[str, tuple[float, ...]]) -> None:
    with pytest.raises(ValueError, match="outside the picture"):
        MeteringArea(AreaKind.RECTANGLE, **wrong)  # type: ignore[arg-type]
