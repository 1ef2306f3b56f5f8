"""A star tells the exposure though its image is finer than the picture that it is looked for in."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from lapsebench.core.response import Origin, Response, knots, srgb_response
from lapsebench.core.sequence import Frame
from lapsebench.core.transfer import linear_to_srgb, srgb_to_linear
from lapsebench.imaging.pointlight import lights_at, point_map
from lapsebench.services.stills import star_light

WIDTH, HEIGHT, FACTOR = 4500, 1500, 2
SRGB = (srgb_response(),) * 3
Floats = NDArray[np.float64]


def stars() -> tuple[Floats, Floats]:
    """Return places (2, k) px and peaks (k,) of stars on a grid, dim ones and some that saturate at two stops more."""
    random = np.random.default_rng(8)
    xy = np.array([(x, y) for y in range(60, HEIGHT, 120) for x in range(60, WIDTH, 120)], float).T
    return xy + random.uniform(-2, 2, xy.shape), random.choice([0.02, 0.06, 0.15, 0.6], xy.shape[1])


GREY = (0.04, 0.04, 0.04)


def picture(path: Path, exposure: float, *, gamma: float = 1.0, sky: tuple[float, ...] = GREY) -> Path:
    """Write a JPEG of the stars over a sky, noisy as a camera's, through sRGB and `gamma` on its codes."""
    random = np.random.default_rng(9)
    light = np.full((HEIGHT, WIDTH, 3), sky[::-1], np.float32)
    for (x, y), peak in zip(stars()[0].T, stars()[1], strict=True):
        rows, cols = slice(int(y) - 5, int(y) + 7), slice(int(x) - 5, int(x) + 7)
        down, right = np.mgrid[rows, cols]
        light[rows, cols] += (peak * np.exp(-((down - y) ** 2 + (right - x) ** 2) / 2))[..., None]
    light = light * np.float32(exposure)
    light += np.sqrt(light / 4000) * random.standard_normal(light.shape, np.float32)
    codes = np.rint(255 * linear_to_srgb(np.clip(light, 0, 1)) ** gamma).astype(np.uint8)
    cv2.imwrite(str(path), codes, [cv2.IMWRITE_JPEG_QUALITY, 95])
    return path


def measured(path: Path, responses: tuple[Response, ...] = SRGB) -> Floats:
    """Return the light of each star, (k,), NaN where it can't be told."""
    picture = star_light(Frame(path, width=WIDTH, height=HEIGHT), responses)
    places = (stars()[0] + 0.5) / FACTOR - 0.5
    return lights_at(point_map(picture), *places).light


def test_twice_the_exposure_is_twice_the_light_of_a_star(tmp_path: Path) -> None:
    one, four = (measured(picture(tmp_path / f"{times}.jpg", times)) for times in (1.0, 4.0))
    both = np.isfinite(one) & np.isfinite(four)
    for peak in (0.06, 0.15):
        these = both & (stars()[1] == peak)
        assert these.sum() > 50
        assert np.median(four[these] / one[these]) == pytest.approx(4, rel=0.02)


def test_a_star_is_as_bright_before_green_aurora_as_before_a_grey_sky(tmp_path: Path) -> None:
    """Coding smears its colour over the aurora's, which took 3 % off it."""
    grey, green = (
        measured(picture(tmp_path / f"{sky[0]}.jpg", 1.0, sky=sky)) for sky in ((0.06, 0.06, 0.06), (0.03, 0.12, 0.045))
    )
    for peak in (0.02, 0.06):
        these = stars()[1] == peak
        assert np.nanmedian(green[these] / grey[these]) == pytest.approx(1, abs=0.015)


def test_a_star_that_saturates_is_not_taken_for_a_dimmer_one(tmp_path: Path) -> None:
    four = measured(picture(tmp_path / "four.jpg", 4.0))
    assert np.isnan(four[stars()[1] == 0.6]).all()
    assert np.isfinite(four[stars()[1] <= 0.15]).all()


def camera_curve(gamma: float) -> tuple[Response, ...]:
    codes = knots()
    ev = np.log2(srgb_to_linear(codes ** (1 / gamma)))
    return (Response(tuple(codes), tuple(ev - ev[-1]), Origin.MEASURED),) * 3


def test_stars_are_seen_through_the_cameras_curve(tmp_path: Path) -> None:
    """All of them: without the bright ones those would be chosen that noise and place on the px made dim."""
    files = [picture(tmp_path / f"{times}.jpg", times, gamma=1.3) for times in (1.0, 4.0)]
    one, four = (measured(file, camera_curve(1.3)) for file in files)
    for peak in (0.06, 0.15):
        assert np.median((four / one)[stars()[1] == peak]) == pytest.approx(4, rel=0.03)
