"""The colour and light that films show, decoded by a library that took no part in making them, against what was filmed.

Recommendations: ITU-R BT.709-6 item 4 (bars), BT.2100-2 and Report BT.2408 table 1 (203 cd/m2 is 75 % HLG and 58 % PQ).
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import colour
import cv2
import numpy as np
import pytest
from filmreading import BARS, planes_of
from numpy.typing import NDArray

from lapsebench.core.filmframe import FilmFrame
from lapsebench.core.formats import FilmFormat
from lapsebench.core.transfer import linear_to_srgb, srgb_table, srgb_to_linear
from lapsebench.imaging.planes import film_frame
from lapsebench.io.encode import FilmWriter

SIZE = (320, 160)
LOSSY = [FilmFormat.H264, FilmFormat.HEVC, FilmFormat.AV1, FilmFormat.PRORES, FilmFormat.DNXHR]
HDR = [FilmFormat.HLG, FilmFormat.PQ]
Floats = NDArray[np.float64]


def filmed(folder: Path, form: FilmFormat, pictures: list[NDArray[Any]], quality: int = 100) -> list[list[Floats]]:
    """Return the planes of every frame of a film of the pictures."""
    height, width = pictures[0].shape[:2]
    with FilmWriter(folder / "film", size=(width, height), fps=Fraction(25), quality=quality, form=form) as film:
        for n, picture in enumerate(pictures):
            film.write(film_frame(picture, form, n))
        path = film.finish()
    with av.open(path) as decoded:
        return [planes_of(frame) for frame in decoded.decode(video=0)]


def shown(planes: list[Floats], form: FilmFormat) -> Floats:
    """Return R'G'B' as a player shows it: Y'CbCr to R'G'B' by colour-science, chroma between its samples linearly."""
    facts = form.facts
    bits, (height, width) = facts.bits, planes[0].shape
    if facts.full_range:
        return np.asarray(np.stack([planes[2], planes[0], planes[1]], axis=-1) / (2.0**bits - 1))
    down, across = facts.sampling.value
    move = np.array([[1 / across, 0, 0], [0, 1 / down, 0.5 / down - 0.5 if down == 2 and not facts.top_left else 0]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    chroma = [cv2.warpAffine(p, move, (width, height), flags=flags, borderMode=cv2.BORDER_REPLICATE) for p in planes[1:]]
    weights = colour.WEIGHTS_YCBCR["ITU-R BT.709" if facts.matrix == 1 else "ITU-R BT.2020"]
    return np.asarray(
        colour.YCbCr_to_RGB(
            np.stack([planes[0], *chroma], axis=-1), weights, in_bits=bits, in_legal=True, in_int=True, out_legal=False
        )
    )


def night(n: int = 0) -> NDArray[np.float32]:
    """Return light of a made night: sky, aurora in two colours, dark ground with an edge, a few stars, some noise."""
    x, y = np.meshgrid(np.linspace(0, 1, SIZE[0]), np.linspace(0, 1, SIZE[1]))
    band = np.exp(-(((y - 0.35 - 0.08 * np.sin(5 * x + n / 7)) / 0.1) ** 2))
    rgb = np.stack([0.01 + 0.1 * band * y, 0.015 + 0.5 * band, 0.03 - 0.015 * y + 0.12 * band * (1 - y)], axis=-1)
    rgb[y > 0.8 + 0.03 * np.sin(9 * x)] = 0.003
    random = np.random.default_rng(4)
    rgb[random.integers(4, 90, 40), random.integers(4, 316, 40)] += 0.4
    rgb *= 1 + 0.02 * np.random.default_rng(n).standard_normal((*rgb.shape[:2], 1))
    return np.asarray(cv2.GaussianBlur(rgb.astype(np.float32), (0, 0), 0.6), np.float32)


def blocks(plane: Floats) -> Floats:
    """Return means over blocks of 16 x 16."""
    height, width = plane.shape[0] // 16, plane.shape[1] // 16
    return np.asarray(plane.reshape(height, 16, width, 16).mean(axis=(1, 3)))


def ssim(one: Floats, other: Floats) -> float:
    """Return the mean structural similarity of two pictures in 0..1 (Wang, Bovik, Sheikh & Simoncelli 2004)."""

    def mean(picture: Floats) -> Floats:
        return np.asarray(cv2.GaussianBlur(picture, (11, 11), 1.5))

    a, b = mean(one), mean(other)
    var_a, var_b, cov = mean(one * one) - a * a, mean(other * other) - b * b, mean(one * other) - a * b
    c1, c2 = 0.01**2, 0.03**2
    return float(np.mean((2 * a * b + c1) * (2 * cov + c2) / ((a * a + b * b + c1) * (var_a + var_b + c2))))


@pytest.mark.parametrize("form", [*LOSSY, FilmFormat.FFV1])
def test_the_film_is_the_picture(tmp_path: Path, form: FilmFormat) -> None:
    frames = filmed(tmp_path, form, [night(n) for n in range(6)])
    assert len(frames) == 6
    for n in (0, 5):
        told = linear_to_srgb(np.clip(night(n), 0, 1))
        found = shown(frames[n], form)
        if form.facts.lossless:
            assert np.abs(found - told).max() * 65535 < 3.1
            continue
        sent, top = film_frame(night(n), form, n).planes, 2.0**form.facts.bits
        likeness = [ssim(one / top, other.astype(float) / top) for one, other in zip(frames[n], sent, strict=True)]
        print(f"\n{form}: SSIM of Y, Cb, Cr {np.round(likeness, 4)}")
        assert min(likeness) > 0.99
        assert np.abs((found - told).mean(axis=(0, 1))).max() * 255 < 0.5


@pytest.mark.parametrize("form", LOSSY)
@pytest.mark.parametrize("deep", [False, True], ids=["codes", "light"])
def test_bars_have_the_codes_of_the_recommendation(tmp_path: Path, form: FilmFormat, deep: bool) -> None:
    bars = np.repeat(np.repeat(np.array(list(BARS), np.uint8)[None], 64, axis=1), 160, axis=0)
    picture: NDArray[Any] = srgb_table(256)[bars] if deep else bars
    planes = filmed(tmp_path, form, [picture] * 4)[-1]
    scale = 2.0 ** (form.facts.bits - 8)
    for i, told in enumerate(BARS.values()):
        middle = 64 * i + 32
        found = [plane[plane.shape[0] // 2, middle * plane.shape[1] // bars.shape[1]] / scale for plane in planes]
        assert np.abs(np.array(found) - told).max() <= 1.6


@pytest.mark.parametrize(
    ("form", "white", "codes"), [(FilmFormat.HLG, 0.75, None), (FilmFormat.PQ, 0.5807, (509, 573, 723))]
)
def test_hdr_light_through_the_real_encoder(
    tmp_path: Path, form: FilmFormat, white: float, codes: tuple[int, ...] | None
) -> None:
    """Patches of 100, 203 cd/m2 and far above the peak: 10-bit codes 64 + 876 V; white is 75 % HLG, 58 % PQ."""
    patches = np.repeat(np.array([100, 203, 40_000], np.float32)[None] / 203, 112, axis=1).repeat(160, axis=0)
    luma, blue, red = filmed(tmp_path, form, [np.repeat(patches[..., None], 3, axis=2)] * 3)[-1]
    found = [luma[40:120, 112 * i + 30 : 112 * i + 80].mean() for i in range(3)]
    assert (found[1] - 64) / 876 == pytest.approx(white, abs=0.001)
    if codes:
        assert found == pytest.approx(codes, abs=1)
    assert [blue[20:60].mean(), red[20:60].mean()] == pytest.approx([512, 512], abs=0.5)


@pytest.mark.parametrize("form", HDR)
def test_an_hdr_display_shows_the_light_that_was_filmed(tmp_path: Path, form: FilmFormat) -> None:
    """Back by colour-science: its EOTF, BT.2020 to BT.709, and 203 cd/m2 as white, where all channels have over 5 cd/m2."""
    light = 1.8 * night()
    signal = shown(filmed(tmp_path, form, [light] * 3)[0], form)
    if form is FilmFormat.PQ:
        nits = colour.models.eotf_ST2084(np.clip(signal, 0, 1))
    else:
        nits = colour.models.eotf_BT2100_HLG(np.clip(signal, 0, 1), L_B=0, L_W=1000, gamma=1.2)
    back = colour.RGB_to_RGB(nits / 203, "ITU-R BT.2020", "ITU-R BT.709")
    told, found = (cv2.resize(rgb, (40, 20), interpolation=cv2.INTER_AREA) for rgb in (light.astype(float), back))
    bright = told.min(axis=2) > 5 / 203
    assert bright.sum() > 100
    off = found[bright] / told[bright] - 1
    assert np.abs(off.mean(axis=0)).max() < 0.01
    assert np.sqrt((off**2).mean(axis=0)) == pytest.approx(np.zeros(3), abs=0.1)
    assert np.sqrt((off[:, 1] ** 2).mean()) < 0.01  # green, most of luma; red and blue are from coded chroma


@pytest.mark.parametrize(
    ("form", "quality", "most"),
    [(FilmFormat.H264, 70, 0.12), (FilmFormat.H264, 100, 0.1), (FilmFormat.HEVC, 70, 0.1), (FilmFormat.PRORES, 70, 0.05)],
)
def test_a_dark_sky_has_no_bands(tmp_path: Path, form: FilmFormat, quality: int, most: float) -> None:
    """Means over blocks follow a slow gradient to a fraction of an 8-bit code: rms under `most`; plain 8 bits have 0.25."""
    codes = np.linspace(9, 15, 640)[None] + np.linspace(0, 1.5, 160)[:, None]
    light = np.repeat(srgb_to_linear(codes / 255)[..., None], 3, axis=2).astype(np.float32)
    frames = filmed(tmp_path, form, [light] * 8, quality)
    truth = blocks(16 + 219 * codes / 255)
    found = np.mean([blocks(planes[0]) for planes in frames], axis=0) / 2.0 ** (form.facts.bits - 8)
    plain = blocks(np.rint(16 + 219 * codes / 255))
    print(f"\n{form}: banding {np.std(found - truth):.3f} code; rounded plainly to 8 bits {np.std(plain - truth):.3f}")
    assert np.std(plain - truth) > 0.23
    assert np.std(found - truth) < most


def test_a_frame_is_told_from_one_half_a_code_brighter(tmp_path: Path) -> None:
    """Light between codes survives 8 bits as a mean."""
    for form in (FilmFormat.H264, FilmFormat.HEVC):
        folder = tmp_path / form
        folder.mkdir()
        greys = [np.full((160, 320, 3), srgb_to_linear(code / 255), np.float32) for code in (60.0, 60.5)]
        one, other = (planes[0].mean() / 2.0 ** (form.facts.bits - 8) for planes in filmed(folder, form, greys))
        assert other - one == pytest.approx(0.5 * 219 / 255, abs=0.15)


def test_frames_are_alike_each_time() -> None:
    light = night()
    first: FilmFrame = film_frame(light, FilmFormat.HEVC, 4)
    assert all(np.array_equal(a, b) for a, b in zip(first.planes, film_frame(light, FilmFormat.HEVC, 4).planes, strict=True))
