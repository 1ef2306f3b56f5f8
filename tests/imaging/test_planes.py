"""Frames as films code them: the right codes, chroma at the right place, rounding that keeps smooth skies smooth."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from lapsebench.core.formats import FilmFormat
from lapsebench.core.transfer import linear_to_srgb, srgb_table, srgb_to_linear
from lapsebench.imaging.dither import dither
from lapsebench.imaging.planes import film_frame

BARS = {  # Rec. ITU-R BT.709-6 item 4, 8 and 10 bits
    (255, 255, 255): ((235, 128, 128), (940, 512, 512)),
    (0, 0, 0): ((16, 128, 128), (64, 512, 512)),
    (255, 0, 0): ((63, 102, 240), (250, 409, 960)),
    (0, 255, 0): ((173, 42, 26), (691, 167, 105)),
    (0, 0, 255): ((32, 240, 118), (127, 960, 471)),
}
TEN_BITS = [FilmFormat.HEVC, FilmFormat.AV1, FilmFormat.PRORES, FilmFormat.DNXHR]
YUV = [FilmFormat.H264, *TEN_BITS]


def blocks(plane: NDArray[Any]) -> NDArray[Any]:
    """Return means over blocks of 16 x 16 of a plane of 64 x 768."""
    return np.asarray(plane.reshape(4, 16, 48, 16).mean(axis=(1, 3)))


def flat(*rgb: float, shape: tuple[int, int] = (32, 48)) -> NDArray[np.float32]:
    """One light all over."""
    return np.broadcast_to(np.array(rgb, np.float32), (*shape, 3)).copy()


@pytest.mark.parametrize("form", YUV)
@pytest.mark.parametrize("bar", BARS)
def test_bars_have_the_codes_of_the_recommendation(form: FilmFormat, bar: tuple[int, int, int]) -> None:
    codes = np.full((8, 16, 3), bar, np.uint8)
    for picture in (codes, srgb_table(256)[codes]):
        frame = film_frame(picture, form, 0)
        told = BARS[bar][form.facts.bits == 10]
        assert all(np.abs(plane.astype(int) - code).max() <= 1 for plane, code in zip(frame.planes, told, strict=True))
        assert tuple(plane.shape for plane in frame.planes) == form.facts.shapes((16, 8))


def test_codes_are_not_dithered_and_every_grey_is_the_nearest_code() -> None:
    grey = np.repeat(np.repeat(np.arange(256, dtype=np.uint8)[None, :, None], 4, 0), 3, 2)
    luma = film_frame(grey, FilmFormat.H264, 7).planes[0]
    assert (luma == np.rint(16 + 219 * np.arange(256) / 255 - 1e-9)).all()
    assert np.array_equal(film_frame(grey, FilmFormat.FFV1, 0).planes[0], grey[..., 1].astype(np.uint16) * 257)


@pytest.mark.parametrize(("form", "red_peak"), [(FilmFormat.H264, 1.0), (FilmFormat.HEVC, 4.0)])
def test_chroma_lies_on_every_second_column_and_between_rows(form: FilmFormat, red_peak: float) -> None:
    """H.273 figure 1, chroma sample type 0 (left): a point on an even column leans on neither neighbour."""
    picture = np.full((16, 16, 3), 128, np.uint8)
    picture[8:10, 8] = (200, 128, 128)
    red = film_frame(picture, form, 0).planes[2].astype(float)
    middle = red[4, 4] - red[0, 0]
    assert middle > 5 * red_peak
    assert red[4, 3] == red[4, 5] == red[0, 0]  # the taps 1 2 1 end before the next sample
    picture = np.full((16, 16, 3), 128, np.uint8)
    picture[8:10, 9] = (200, 128, 128)  # between two samples: half and half
    red = film_frame(picture, form, 0).planes[2].astype(float)
    assert red[4, 4] == red[4, 5] > red[0, 0]


def test_hdr_chroma_lies_on_luma_both_ways() -> None:
    """Chroma sample type 2 (top left), usual for BT.2020: only the sample on an even row and column has all of it."""
    picture = flat(0.2, 0.2, 0.2)
    picture[8, 8] = (0.8, 0.2, 0.2)
    on = film_frame(picture, FilmFormat.PQ, 0).planes[2].astype(int)
    assert on[4, 4] - on[0, 0] > 6
    assert abs(on[5, 4] - on[0, 0]) <= 1 and abs(on[3, 4] - on[0, 0]) <= 1
    picture = flat(0.2, 0.2, 0.2)
    picture[9, 8] = (0.8, 0.2, 0.2)
    between = film_frame(picture, FilmFormat.PQ, 0).planes[2].astype(int)
    assert abs(between[4, 4] - between[5, 4]) <= 1 and between[4, 4] > on[0, 0] + 3


@pytest.mark.parametrize(
    ("nits", "code"),
    [(100, 509), (203, 573), (1000, 723)],  # 64 + 876 V of SMPTE ST 2084, 10-bit narrow range
)
def test_pq_codes_are_absolute_light(nits: float, code: int) -> None:
    luma = film_frame(flat(*[nits / 203 * (1 if nits < 500 else 40)] * 3), FilmFormat.PQ, 0).planes[0]
    assert np.abs(luma.astype(int) - code).max() <= 1


def test_white_is_75_percent_hlg_and_its_level_is_told() -> None:
    """Report ITU-R BT.2408 table 1; 10-bit narrow 75 % is 64 + 876 x 0.75 = 721."""
    picture = flat(1, 1, 1)
    frame = film_frame(picture, FilmFormat.HLG, 0)
    assert np.abs(frame.planes[0].astype(int) - 721).max() <= 1
    assert frame.level is not None
    assert (frame.level.most, frame.level.mean) == pytest.approx((203, 203), rel=1e-4)
    picture[:16] = 0.1
    mixed = film_frame(picture, FilmFormat.PQ, 0).level
    assert mixed is not None
    assert (mixed.most, mixed.mean) == pytest.approx((203, 203 * 0.55), rel=1e-3)


def test_headroom_shows_above_white_in_hdr_only() -> None:
    one, two = flat(1, 1, 1), flat(2.2, 2.2, 2.2)
    for form in (FilmFormat.PQ, FilmFormat.HLG):
        assert film_frame(two, form, 0).planes[0].min() > film_frame(one, form, 0).planes[0].max() + 40
    assert film_frame(two, FilmFormat.HEVC, 0).planes[0].max() == 940
    assert film_frame(two, FilmFormat.EXR, 0).planes[0].max() == np.float16(2.2)


def test_colours_outside_srgb_reach_hdr_films() -> None:
    """A green that BT.709 holds only with a negative red is, in BT.2020, the pure green it came from (BT.2087)."""
    pure = np.linalg.inv([[0.6274, 0.3293, 0.0433], [0.0691, 0.9195, 0.0114], [0.0164, 0.0880, 0.8956]]) @ [0, 0.5, 0]
    assert pure.min() < -0.05
    luma, blue, red = (plane[8, 8] for plane in film_frame(flat(*pure), FilmFormat.PQ, 0).planes)
    signal = 0.50962  # PQ of 101.5 cd/m2, SMPTE ST 2084
    told = 64 + 876 * 0.6780 * signal, 512 - 896 * 0.6780 * signal / 1.8814, 512 - 896 * 0.6780 * signal / 1.4746
    assert (luma, blue, red) == pytest.approx(told, abs=6)  # four printed digits leave a little red and blue


@pytest.mark.parametrize("number", [0, 1, 17])
def test_the_dither_is_one_code_wide_even_fine_and_the_same_every_time(number: int) -> None:
    pattern = dither((256, 256), number)
    assert np.abs(pattern).max() < 0.5
    counts, _ = np.histogram(pattern, 16, (-0.5, 0.5))
    assert counts.min() == counts.max()  # every value as often as any other
    assert np.abs(pattern.reshape(32, 8, 32, 8).mean((1, 3))).max() < 0.035  # white noise: 0.14
    assert np.array_equal(pattern, dither((256, 256), number))
    assert not np.array_equal(pattern, dither((256, 256), number + 1))


@pytest.mark.parametrize("form", [FilmFormat.H264, FilmFormat.HEVC, FilmFormat.GIF])
def test_a_dark_slow_gradient_has_no_bands_and_would_have_without_dither(form: FilmFormat) -> None:
    """Means over blocks follow the truth within 0.07 code; plain rounding is a staircase, off by up to half a code."""
    codes = np.linspace(8, 14, 768)[None, :] + np.zeros((64, 1))
    light = np.repeat(srgb_to_linear(codes / 255)[..., None], 3, axis=2).astype(np.float32)
    plane = film_frame(light, form, 3).planes[0]
    plane = plane[..., 0] if plane.ndim == 3 else plane
    scale = 2.0 ** (form.facts.bits - 8)
    truth = codes if form is FilmFormat.GIF else scale * (16 + 219 * codes / 255)
    assert np.abs(blocks(plane.astype(float)) - blocks(truth)).max() < 0.07
    assert np.abs(blocks(np.rint(truth)) - blocks(truth)).max() > 0.25


def test_exact_codes_stay_exact_under_dither() -> None:
    black = film_frame(flat(0, 0, 0), FilmFormat.H264, 5).planes
    assert [set(np.unique(plane)) for plane in black] == [{16}, {128}, {128}]


def test_sixteen_bits_and_half_floats_are_the_light_itself() -> None:
    light = np.random.default_rng(3).random((16, 24, 3), dtype=np.float32)
    told = 65535 * linear_to_srgb(light)
    green, blue, red = film_frame(light, FilmFormat.FFV1, 0).planes
    assert np.abs(np.stack([red, green, blue], -1) - told).max() <= 3  # of 65535
    assert np.abs(film_frame(light, FilmFormat.TIFF, 0).planes[0] - told).max() <= 3
    assert np.array_equal(film_frame(light, FilmFormat.EXR, 0).planes[0], light.astype(np.float16))
