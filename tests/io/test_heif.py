"""HEIC stills: colours, depth, metadata and orientation come out as they went in, and upright once."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone
from io import BytesIO
from pathlib import Path

import numpy as np
import pillow_heif
import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_files import exif_block, heic, scene
from PIL import Image, ImageCms

from lapsebench.core.sequence import Fault, Frame
from lapsebench.errors import FrameError
from lapsebench.io.header import layout_of
from lapsebench.io.heif import heif_facts
from lapsebench.io.icc import SRGB
from lapsebench.io.metadata import read_metadata
from lapsebench.io.nclx import coded_profile
from lapsebench.io.read import read_picture, to_linear

SKY = scene()


def put(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path


@pytest.mark.parametrize("suffix", [".heic", ".HEIF", ".hif", ".jpg"])
def test_a_heic_is_read_whatever_its_ending(tmp_path: Path, suffix: str) -> None:
    picture = read_picture(put(tmp_path / f"F1{suffix}", heic(SKY, quality=95)))
    assert picture.codes.dtype == np.uint8
    assert np.abs(picture.codes.astype(int) - SKY).mean() < 3
    assert picture.profile == SRGB


def test_its_metadata_are_known(tmp_path: Path) -> None:
    frame = read_metadata(put(tmp_path / "F1.heic", heic(SKY, exif_block())))
    assert frame == Frame(
        tmp_path / "F1.heic",
        taken=datetime(2026, 2, 11, 21, 4, 10, 250_000, tzinfo=timezone(timedelta(hours=1))),
        exposure_s=8.0,
        f_number=2.8,
        iso=1600.0,
        focal_mm=14.0,
        camera="Velmar N2",
        serial="N2-00417",
        lens="Velmar 14 mm f/1.8",
        width=144,
        height=96,
    )


@pytest.mark.parametrize("bits", [10, 12])
def test_deep_codes_keep_their_depth_and_reach_white(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, bits: int) -> None:
    monkeypatch.setattr(pillow_heif.options, "SAVE_HDR_TO_12_BIT", bits == 12)
    ramp = np.linspace(0, 65535, 256).astype(np.uint16)[None, :, None].repeat(64, axis=0).repeat(3, axis=2)
    path = put(tmp_path / "F1.heic", heic(np.ascontiguousarray(ramp), quality=-1, chroma=444))
    picture = read_picture(path)
    assert read_metadata(path).bit_depth == bits
    assert picture.codes.dtype == np.uint16
    assert picture.codes.max() == 65535
    assert picture.codes.min() == 0
    assert np.abs(picture.codes.astype(int) - ramp).max() < 300
    assert to_linear(picture).max() == pytest.approx(1.0)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_it_is_turned_upright_exactly_once(tmp_path: Path, orientation: int) -> None:
    pillow_heif.register_heif_opener()
    store = BytesIO()
    Image.fromarray(SKY).save(store, "HEIF", exif=b"Exif\0\0" + exif_block(orientation=orientation), quality=95)
    path = put(tmp_path / "F1.heic", store.getvalue())
    exif = Image.Exif()
    exif[0x0112] = orientation
    plain = BytesIO()
    Image.fromarray(SKY).save(plain, "PNG", exif=exif)
    expected = read_picture(put(tmp_path / "F1.png", plain.getvalue())).codes
    codes, frame = read_picture(path).codes, read_metadata(path)
    assert codes.shape == expected.shape == (frame.height, frame.width, 3)
    assert np.abs(codes.astype(int) - expected).mean() < 3


def test_an_embedded_profile_and_a_colour_code_are_heeded(tmp_path: Path) -> None:
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    assert read_picture(put(tmp_path / "F1.heic", heic(SKY, icc_profile=srgb))).profile.curves == SRGB.curves
    wide = read_picture(put(tmp_path / "F2.heic", heic(SKY, color_primaries=12, transfer_characteristics=13)))
    assert wide.profile.name == "Display P3"
    assert wide.profile.matrix is not None


@pytest.mark.parametrize(("primaries", "transfer"), [(1, 13), (1, 1), (2, 2), (12, 13), (9, 16), (9, 18), (1, 8), (12, 4)])
def test_colour_codes_rise_from_black_to_white(primaries: int, transfer: int) -> None:
    profile = coded_profile(primaries, transfer)
    light = profile.curves[1].light(np.linspace(0, 1, 1001))
    assert not profile.note
    assert light[0] == pytest.approx(0, abs=1e-6)
    assert light[-1] == pytest.approx(1.0)
    assert (np.diff(light) >= 0).all()
    assert (profile.matrix is None) == (primaries in (1, 2))


def test_colour_code_anchors() -> None:
    """PQ code 0.508 is 100 cd/m^2 (SMPTE ST 2084); HLG code 0.5 is 1/12 of peak (ARIB STD-B67)."""
    assert coded_profile(9, 16).curves[0].light(np.array([0.5080784]))[0] == pytest.approx(0.1, rel=2e-3)
    assert coded_profile(9, 18).curves[0].light(np.array([0.5]))[0] == pytest.approx(1 / 12, rel=2e-3)


def test_an_unknown_colour_code_is_said_to_be_taken_for_srgb() -> None:
    profile = coded_profile(77, 99)
    assert profile.curves == SRGB.curves
    assert "sRGB is assumed" in profile.note


def test_size_and_depth_agree_with_the_library(tmp_path: Path) -> None:
    for rows, cols, deep in ((64, 96, False), (65, 33, False), (300, 200, True)):
        sky = scene(rows, cols)
        path = put(tmp_path / "F1.heic", heic(sky.astype(np.uint16) << 8 if deep else sky))
        with path.open("rb") as file:
            facts = heif_facts(file)
        still = pillow_heif.open_heif(path, convert_hdr_to_8bit=False)
        assert (facts.width, facts.height) == still.size == (cols, rows)
        assert facts.bit_depth == still.info["bit_depth"]


@pytest.mark.parametrize("kept", [0.001, 0.05, 0.3, 0.9, 0.999])
def test_a_heic_cut_anywhere_is_refused(tmp_path: Path, kept: float) -> None:
    data = heic(SKY, exif_block())
    path = put(tmp_path / "F1.heic", data[: int(kept * len(data))])
    with pytest.raises(FrameError):
        read_picture(path)


@given(st.integers(0, 700), st.binary(min_size=1, max_size=8))
def test_any_damaged_header_gives_facts_or_a_reason(at: int, noise: bytes) -> None:
    data = bytearray(_GOOD)
    data[at : at + len(noise)] = noise
    try:
        assert layout_of(BytesIO(bytes(data)), "F1.heic").width > 0
    except FrameError as error:
        assert error.what


def test_a_damaged_heic_is_a_flagged_frame(tmp_path: Path) -> None:
    frame = read_metadata(put(tmp_path / "F1.heic", _GOOD[:200]))
    assert frame.faults == {Fault.UNREADABLE}
    assert "damaged header" in frame.problem


_GOOD: bytes = heic(SKY, exif_block())
