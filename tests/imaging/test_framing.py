"""Where a still goes in the film's frame: shape kept, pixels kept where they can be, light kept in scaling."""

from __future__ import annotations

import numpy as np
import pytest

from lapsebench.core.filmsettings import Crop, FilmSettings
from lapsebench.core.transfer import srgb_to_linear
from lapsebench.imaging.apply import codes_of_light, light_of_codes
from lapsebench.imaging.framing import Placing, Size, cut, framing_of, on_black, scaled

SETTINGS = [
    FilmSettings(),
    FilmSettings(crop=Crop.WIDE),
    FilmSettings(crop=Crop.TALL),
    FilmSettings(crop=Crop.SQUARE),
    FilmSettings(size=(1920, 1080)),
    FilmSettings(size=(1920, 1080), crop=Crop.TALL),
    FilmSettings(size=(640, 480), exact=True),
]
SOURCES = [(6000, 4000), (4000, 6000), (961, 641), (963, 643), (960, 640), (4608, 3456), (8256, 5504)]


@pytest.mark.parametrize("settings", SETTINGS)
@pytest.mark.parametrize("source", SOURCES)
@pytest.mark.parametrize("other", SOURCES)
def test_nothing_is_ever_distorted_or_leaves_the_still(settings: FilmSettings, source: Size, other: Size) -> None:
    framing = framing_of(settings, source)
    assert framing.size[0] % 2 == framing.size[1] % 2 == 0
    placing = framing.placing(other)
    x, y, width, height = placing.box
    assert x >= 0 and y >= 0 and x + width <= other[0] and y + height <= other[1]
    assert abs(2 * x + width - other[0]) <= 2 and abs(2 * y + height - other[1]) <= 2
    across, down = placing.size[0] / width, placing.size[1] / height
    assert abs(across / down - 1) < 1.5 / min(width, height, *placing.size)
    assert placing.size == framing.size or (placing.size[0] <= framing.size[0] and placing.size[1] <= framing.size[1])


@pytest.mark.parametrize(("source", "film"), [((961, 641), (960, 640)), ((963, 643), (962, 642)), ((960, 640), (960, 640))])
def test_an_odd_source_loses_a_pixel_and_is_not_scaled(source: Size, film: Size) -> None:
    framing = framing_of(FilmSettings(), source)
    assert framing.size == film
    assert framing.placing(source) == Placing((0, 0, *film), film)
    assert not framing.placing(source).resamples


@pytest.mark.parametrize(("crop", "film"), [(Crop.TALL, (360, 640)), (Crop.SQUARE, (640, 640)), (Crop.WIDE, (960, 540))])
def test_crops_are_centred_and_unscaled(crop: Crop, film: Size) -> None:
    placing = framing_of(FilmSettings(crop=crop), (960, 640)).placing((960, 640))
    assert placing == Placing(((960 - film[0]) // 2, (640 - film[1]) // 2, *film), film)


def test_another_camera_fills_the_frame_and_an_upright_still_goes_in_whole() -> None:
    framing = framing_of(FilmSettings(size=(1920, 1080)), (6000, 4000))
    assert framing.size == (1620, 1080)
    assert framing.placing((4608, 3456)) == Placing((0, 192, 4608, 3072), (1620, 1080))
    assert framing.placing((4000, 6000)) == Placing((0, 0, 4000, 6000), (720, 1080))


def test_an_upright_still_fills_upright_and_square_films() -> None:
    assert framing_of(FilmSettings(crop=Crop.TALL), (960, 640)).placing((640, 960)).size == (360, 640)
    assert framing_of(FilmSettings(crop=Crop.SQUARE), (960, 640)).placing((640, 960)).box == (0, 160, 640, 640)


def test_scaling_down_keeps_the_light() -> None:
    codes = np.zeros((80, 120, 3), np.uint8)
    codes[::2, ::2] = 255  # a quarter of the light: code 137 in sRGB, 64 if codes were averaged
    small = codes_of_light(scaled(light_of_codes(codes, 0.0), (30, 20)))
    assert set(np.unique(small)) == {137}
    assert srgb_to_linear(137 / 255) == pytest.approx(0.25, abs=0.002)


@pytest.mark.parametrize("size", [(77, 51), (240, 160), (120, 80), (100, 90)])
def test_even_areas_stay_even_at_any_size(size: Size) -> None:
    codes = np.full((80, 120, 3), (7, 93, 201), np.uint8)
    resized = codes_of_light(scaled(light_of_codes(codes, 0.0), size))
    assert resized.shape == (size[1], size[0], 3)
    assert (resized == (7, 93, 201)).all()


def test_scaling_up_clips_at_black_and_white() -> None:
    codes = np.zeros((8, 8, 3), np.uint8)
    codes[4:] = 255
    large = codes_of_light(scaled(light_of_codes(codes, 0.0), (64, 64)))
    assert (np.diff(large[:, 0, 0].astype(int)) >= 0).all()  # overshoot would wrap around
    assert (large[0, 0, 0], large[-1, 0, 0]) == (0, 255)


def test_cut_and_on_black_are_where_they_should_be() -> None:
    codes = np.arange(10 * 12 * 3, dtype=np.uint8).reshape(10, 12, 3)
    part = cut(codes, (2, 3, 6, 4))
    assert np.array_equal(part, codes[3:7, 2:8])
    framed = on_black(np.full((10, 4, 3), 200, np.uint8), (12, 10))
    assert (framed[:, 4:8] == 200).all()
    assert framed[:, :4].max() == framed[:, 8:].max() == 0
    assert on_black(codes, (12, 10)) is codes
