"""Points of light in pictures: found where they are, and measured above what is around them."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from lapsebench.core.transfer import srgb_table
from lapsebench.imaging.pointlight import PointMap, find_points, lights_at, point_map, trail_share
from lapsebench.imaging.starpicture import StarPicture, at_point_size

HEIGHT, WIDTH = 300, 400


def mapped(light: np.ndarray, untold: np.ndarray | None = None, *, greys: np.ndarray | None = None) -> PointMap:
    """Return the point map of linear light (h, w) of 8-bit sRGB."""
    untold = np.zeros(light.shape, bool) if untold is None else untold
    return point_map(StarPicture(light.astype(np.float32), untold, srgb_table() if greys is None else greys))


def sky(random: np.random.Generator, *, stars: int = 60) -> tuple[np.ndarray, np.ndarray]:
    """Return the places (2, k) of stars on a grid, off it by parts of a px, and their light (h, w)."""
    columns = np.linspace(20, WIDTH - 20, 10)
    xy = np.array([(x, y) for y in np.linspace(20, HEIGHT - 20, stars // 10) for x in columns]).T
    xy = xy + random.uniform(-0.5, 0.5, xy.shape)
    points = np.zeros((HEIGHT, WIDTH))
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    for at_x, at_y in xy.T:
        points += np.exp(-((x - at_x) ** 2 + (y - at_y) ** 2) / (2 * 1.1**2))
    return xy, points


def test_stars_are_found_within_a_fifth_of_a_pixel() -> None:
    random = np.random.default_rng(0)
    xy, points = sky(random)
    light = 0.05 + 0.02 * points + random.normal(0, 0.001, points.shape)
    found = find_points(mapped(light))
    off = np.hypot(*(found[:2, :, None] - xy[:, None, :])).min(axis=0)
    assert np.median(off) < 0.1
    assert (off < 0.3).mean() > 0.95


def test_light_is_measured_in_proportion_whatever_lies_behind_it() -> None:
    random = np.random.default_rng(1)
    xy, points = sky(random)
    ramp = np.linspace(0.01, 0.3, WIDTH) * np.ones((HEIGHT, 1))
    plain = lights_at(mapped(0.02 * points), *xy)
    brighter = lights_at(mapped(3 * 0.02 * points + ramp), *xy)
    assert brighter.light / plain.light == pytest.approx(3, rel=0.002)


def test_noise_is_told_as_it_is() -> None:
    random = np.random.default_rng(2)
    xy, points = sky(random)
    noise = random.normal(0, 0.002, points.shape)
    told = lights_at(mapped(0.1 + 0.01 * points + noise), *xy)
    exact = gaussian_filter(noise, 1.2) - gaussian_filter(noise, 3.0)
    assert np.median(told.sd) == pytest.approx(exact.std(), rel=0.35)


def test_clipped_points_and_points_outside_are_not_seen() -> None:
    clipped = np.zeros((HEIGHT, WIDTH), bool)
    clipped[100, 100] = True
    seen = lights_at(mapped(np.zeros((HEIGHT, WIDTH)), clipped), np.array([101.0, 200.0, -5.0]), np.full(3, 101.0))
    assert np.isnan(seen.light).tolist() == [True, False, True]
    assert lights_at(mapped(np.zeros((HEIGHT, WIDTH)), clipped), np.zeros(0), np.zeros(0)).light.size == 0


def test_a_clean_sky_has_no_points() -> None:
    random = np.random.default_rng(3)
    light = 0.1 + random.normal(0, 0.002, (HEIGHT, WIDTH))
    assert find_points(mapped(light)).shape[1] <= 2


@pytest.mark.parametrize("length", [0.5, 1.5, 3.0])
def test_what_a_trail_takes_off_a_star_is_known(length: float) -> None:
    """The star drawn along its trail moment by moment, against the answer of the kernel worked out."""
    y, x = np.mgrid[0:61, 0:61]
    moments = (np.arange(41) / 40 - 0.5) * length

    def drawn(places: np.ndarray) -> np.ndarray:
        return np.asarray(np.mean([np.exp(-((x - 30 - at) ** 2 + (y - 30) ** 2) / (2 * 0.6**2)) for at in places], axis=0))

    point, trail = (mapped(drawn(places)) for places in (np.zeros(1), moments))
    share = trail_share(np.array([length]))[0]
    assert trail.core[30, 30] / point.core[30, 30] == pytest.approx(share, rel=0.025)
    assert share < 1


def test_a_code_stands_for_as_much_light_as_the_camera_gives_it() -> None:
    """Coding takes codes off a star, and what one is worth hangs on the camera's curve."""
    greys = (srgb_table() ** 1.3).astype(np.float32)
    flat = np.full((HEIGHT, WIDTH), greys[100], np.float32)
    at = np.full(1, 50.0)
    told = lights_at(mapped(flat, greys=greys), at, at)
    assert told.step[0] == pytest.approx((greys[101] - greys[99]) / 2, rel=0.02)


@pytest.mark.parametrize(("width", "height", "expected"), [(3000, 20, 3000), (3001, 20, 1500), (20, 8256, 2752)])
def test_pictures_are_brought_down_to_three_thousand_px_at_most(width: int, height: int, expected: int) -> None:
    smaller, clipped = at_point_size(np.ones((height, width), np.float32), np.zeros((height, width), bool))
    assert max(smaller.shape) == max(clipped.shape) == expected


def test_no_more_points_are_found_than_asked_for() -> None:
    xy, points = sky(np.random.default_rng(4))
    light = 0.05 + 0.02 * points
    assert xy.shape[1] > 10
    assert find_points(mapped(light), most=10).shape == (3, 10)
