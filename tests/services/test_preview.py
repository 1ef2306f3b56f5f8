"""Pictures for the screen: the same pixels as the film's, and quick enough to play."""

from __future__ import annotations

import struct
import time
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageCms

from lapsebench.core.rolloff import darken, gain_with_rolloff
from lapsebench.core.sequence import Frame
from lapsebench.core.transfer import linear_to_srgb, srgb_to_linear
from lapsebench.errors import FrameError
from lapsebench.imaging.apply import gain_table
from lapsebench.imaging.framing import Placing
from lapsebench.imaging.proxy import measure_frame, playback_codes
from lapsebench.io.icc import DCF_OPTION, SRGB, ColourProfile
from lapsebench.io.read import Picture, to_linear
from lapsebench.services.preview import picture, rendered, small_picture
from lapsebench.services.survey import gather, survey

WIDE_D50 = {  # colorants of a space with a far green, XYZ of D50
    b"rXYZ": (0.60974, 0.31111, 0.01947),
    b"gXYZ": (0.20528, 0.62567, 0.06087),
    b"bXYZ": (0.14919, 0.06322, 0.74457),
}


def wide_profile() -> bytes:
    """An sRGB profile given the colorants of a wide space."""
    icc = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    (count,) = struct.unpack_from(">I", icc, 128)
    for entry in range(132, 132 + 12 * count, 12):
        tag, start, _ = struct.unpack_from(">4sII", icc, entry)
        if tag in WIDE_D50:
            struct.pack_into(">3i", icc, start + 8, *(round(v * 65536) for v in WIDE_D50[tag]))
    return bytes(icc)


def smooth(width: int, height: int) -> NDArray[np.uint8]:
    """A picture whose three channels differ."""
    x, y = np.meshgrid(np.linspace(0, 1, width), np.linspace(0, 1, height))
    return (255 * np.stack([x, y, 0.4 * x * y], axis=-1)).astype(np.uint8)


def frame_of(path: Path, codes: NDArray[np.uint8]) -> Frame:
    assert cv2.imwrite(str(path), codes[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 95])
    return Frame(path)


def test_full_size_is_the_source_with_the_gain(tmp_path: Path) -> None:
    codes = smooth(301, 200)
    frame = frame_of(tmp_path / "0.png", codes)
    assert np.array_equal(picture(frame, 0.0), codes)
    assert np.array_equal(picture(frame, np.nan), codes)
    assert np.array_equal(picture(frame, 0.7), gain_table(0.7)[codes])


@pytest.mark.parametrize("suffix", ["jpg", "png"])
@pytest.mark.parametrize(("width", "height"), [(1500, 1000), (1000, 1500), (1203, 807), (1600, 1600)])
@pytest.mark.parametrize("long_side", [150, 400, 601, 1000])
def test_a_reduced_picture_fits_and_keeps_its_shape(
    tmp_path: Path, suffix: str, width: int, height: int, long_side: int
) -> None:
    shown = picture(frame_of(tmp_path / f"0.{suffix}", smooth(width, height)), 0.5, long_side=long_side)
    assert max(shown.shape[:2]) == long_side
    assert shown.shape[1] / shown.shape[0] == pytest.approx(width / height, rel=1.5 / min(shown.shape[:2]))
    whole = cv2.resize(gain_table(0.5)[smooth(width, height)], shown.shape[1::-1], interpolation=cv2.INTER_AREA)
    assert np.abs(shown.astype(int) - whole).mean() < 2.5


def test_a_small_still_is_not_enlarged(tmp_path: Path) -> None:
    assert picture(frame_of(tmp_path / "0.png", smooth(90, 60)), 0.0, long_side=400).shape == (60, 90, 3)


def test_reducing_keeps_the_light(tmp_path: Path) -> None:
    codes = np.zeros((200, 300, 3), np.uint8)
    codes[::2, ::2] = 255
    shown = picture(frame_of(tmp_path / "0.png", codes), 0.0, long_side=75)
    assert srgb_to_linear(shown / 255).mean() == pytest.approx(0.25, abs=0.003)


@pytest.mark.parametrize("gain_ev", [0.0, 0.6, -1.5])
@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_codes_of_another_colour_space_are_turned_into_srgb(gain_ev: float, kind: type) -> None:
    codes: NDArray[Any] = (smooth(60, 40).astype(np.uint16) * (257 if kind is np.uint16 else 1)).astype(kind)
    read = Picture(codes, DCF_OPTION)
    shown = rendered(read, gain_ev, Placing((5, 3, 50, 30), (50, 30)))
    linear = np.clip(to_linear(read), 0, 1)
    light = (gain_with_rolloff(linear, gain_ev) if gain_ev >= 0 else darken(linear, gain_ev))[3:33, 5:55]
    assert np.abs(shown - 255 * linear_to_srgb(light)).max() < 0.53
    assert np.abs(shown.astype(int) - smooth(60, 40)[3:33, 5:55]).max() > 20


@pytest.mark.parametrize("profile", [SRGB, DCF_OPTION], ids=["sRGB", "wide"])
@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
@pytest.mark.parametrize(("width", "height"), [(1440, 960), (300, 200)])
def test_strip_and_proxy_are_srgb_whatever_the_codes(profile: ColourProfile, kind: type, width: int, height: int) -> None:
    codes: NDArray[Any] = (smooth(width, height).astype(np.uint16) * (257 if kind is np.uint16 else 1)).astype(kind)
    read = Picture(codes, profile)
    small = playback_codes(codes, to_linear(read), srgb=read.is_srgb)
    shown = rendered(read, 0.0, Placing((0, 0, width, height), (small.shape[1], small.shape[0]))).astype(int)
    assert np.abs(small.astype(int) - shown).max() <= 1
    measure = measure_frame(codes, to_linear(read), srgb=read.is_srgb)
    assert np.array_equal(measure.column, small[:, small.shape[1] // 2])
    assert np.abs(small_picture(measure, Frame(Path("still.jpg")), 0.0).astype(int) - small).mean() < 1


def test_the_proxy_of_a_wide_gamut_still_has_the_colours_of_the_picture(tmp_path: Path) -> None:
    codes = smooth(12, 8).repeat(120, axis=0).repeat(120, axis=1)
    Image.fromarray(codes).save(tmp_path / "0.png", icc_profile=wide_profile())
    project, _ = gather([tmp_path])
    (measure,) = survey(project).measures
    assert measure is not None
    assert measure.tiles.min() < -0.05  # colours beyond sRGB are among them
    shown = picture(project.frames[0], 0.0, long_side=960).astype(int)
    off = np.abs(small_picture(measure, Frame(Path("still.jpg")), 0.0).astype(int) - shown).reshape(8, 80, 12, 80, 3)
    assert off[:, 8:-8, :, 8:-8].max() <= 3  # JPEG coding blurs colours over the edges of the patches
    assert np.abs(shown - cv2.resize(codes, (960, 640), interpolation=cv2.INTER_AREA)).max() > 20


def test_a_still_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(FrameError):
        picture(Frame(tmp_path / "gone.jpg"), 0.0)


def test_the_proxy_shows_the_gain_and_is_quick() -> None:
    codes = smooth(1440, 960)
    measure = measure_frame(codes, srgb_to_linear(codes / 255).astype(np.float32), srgb=True)
    plain, brighter = (
        small_picture(measure, Frame(Path("still.jpg")), np.nan),
        small_picture(measure, Frame(Path("still.jpg")), 1.0),
    )
    assert plain.shape == brighter.shape == (640, 960, 3)
    assert np.abs(plain.astype(int) - cv2.resize(codes, (960, 640), interpolation=cv2.INTER_AREA)).mean() < 3
    assert np.array_equal(brighter, gain_table(1.0)[plain])
    times = []
    for _ in range(15):
        start = time.perf_counter()
        small_picture(measure, Frame(Path("still.jpg")), 0.3)
        times.append(time.perf_counter() - start)
    assert min(times) < 0.025  # some 6 ms on a free machine of 2020; the margin is for busy ones
