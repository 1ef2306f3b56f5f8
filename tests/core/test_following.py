"""Points of light are followed as the sky turns, and stars are told from lamps."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from lapsebench.core.following import Follower, Kind

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
HEIGHT, WIDTH = 700, 1000


def turned(xy: Floats, angle: float, pole: tuple[float, float]) -> Floats:
    """Return points (2, k) turned about a pole by an angle in radians."""
    cos, sin = np.cos(angle), np.sin(angle)
    centre = np.array(pole)[:, None]
    moved: Floats = np.array([[cos, -sin], [sin, cos]]) @ (xy - centre) + centre
    return moved


def inside(xy: Floats) -> Bools:
    within: Bools = (xy[0] > 5) & (xy[0] < WIDTH - 5) & (xy[1] > 5) & (xy[1] < HEIGHT - 5)
    return within


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000), degrees=st.floats(0.02, 0.12), lost=st.floats(0.0, 0.5))
def test_stars_that_turn_and_lamps_that_stand_are_followed_through_frames_that_miss_them(
    seed: int, degrees: float, lost: float
) -> None:
    random = np.random.default_rng(seed)
    stars = random.uniform(0, 1, (2, 250)) * [[WIDTH], [0.7 * HEIGHT]]
    lamps = np.array([[100.0, 300.0, 620.0], [620.0, 650.0, 640.0]])
    pole = (random.uniform(-300, 1300), random.uniform(-400, -100))
    follower = Follower((HEIGHT, WIDTH))
    truth = np.zeros((2, 0))
    for frame in range(60):
        truth = turned(stars, np.radians(degrees) * frame, pole)
        seen = np.hstack([truth, lamps])
        seen = seen[:, inside(seen) & (random.random(seen.shape[1]) > lost)]
        follower.step(float(frame), seen + random.normal(0, 0.1, seen.shape))
    kinds = [follower.kinds.get(int(number)) for number in follower.number]
    followed = np.array([kind is Kind.STAR for kind in kinds])
    visible = truth[:, inside(truth)]
    off = np.min(np.hypot(*(follower.star[:, followed, None] - visible[:, None, :])), axis=1)
    assert followed.sum() > 0.6 * visible.shape[1]
    assert np.quantile(off, 0.95) < 0.6
    found_lamps = follower.lamp[:, [kind is Kind.LAMP for kind in kinds]]
    for lamp in lamps.T:
        assert np.min(np.hypot(*(found_lamps - lamp[:, None])), initial=99) < 0.6


def test_a_gap_in_time_does_not_lose_the_stars() -> None:
    random = np.random.default_rng(4)
    stars = random.uniform(0, 1, (2, 200)) * [[WIDTH], [HEIGHT]]
    follower = Follower((HEIGHT, WIDTH))
    for time in (*range(30), *range(38, 48)):
        seen = turned(stars, 0.001 * time, (500, -200))
        follower.step(float(time), seen[:, inside(seen)])
    last = turned(stars, 0.001 * 47, (500, -200))
    off = np.min(np.hypot(*(follower.star[:, :, None] - last[:, None, :])), axis=1)
    old = follower.number < 200
    assert old.sum() > 120
    assert np.quantile(off[old], 0.9) < 0.5


def test_nothing_counts_while_nothing_moves() -> None:
    random = np.random.default_rng(5)
    points = random.uniform(10, 600, (2, 80))
    follower = Follower((HEIGHT, WIDTH))
    for time in range(40):
        follower.step(float(time), points)
    assert not follower.kinds


def test_frames_without_points_are_no_harm() -> None:
    follower = Follower((HEIGHT, WIDTH))
    for time in range(5):
        follower.step(float(time), np.zeros((2, 0)))
    assert follower.number.size == 0


def test_after_a_long_gap_stars_begin_anew() -> None:
    random = np.random.default_rng(4)
    stars = random.uniform(0, 1, (2, 200)) * [[WIDTH], [HEIGHT]]
    follower = Follower((HEIGHT, WIDTH))
    for time in (*range(30), 90):
        seen = turned(stars, 0.001 * time, (500, -200))
        before = set(follower.number.tolist())
        follower.step(float(time), seen[:, inside(seen)])
    assert follower.number.size > 100
    assert not before & set(follower.number.tolist())
