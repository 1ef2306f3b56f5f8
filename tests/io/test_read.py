"""Decoding stills: every kind comes out upright and true in colour, and what can't be decoded says why."""

from __future__ import annotations

import os
import struct
import time
import zlib
from io import BytesIO
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image, ImageOps

from lapsebench.core.transfer import srgb_to_linear
from lapsebench.errors import FrameError
from lapsebench.io.header import layout_of
from lapsebench.io.icc import DCF_OPTION, SRGB
from lapsebench.io.layout import Header
from lapsebench.io.read import Picture, read_picture, to_linear

RNG = np.random.default_rng(11)
RGB = RNG.integers(0, 256, (30, 50, 3), dtype=np.uint8)
RGB16 = RNG.integers(0, 65536, (30, 50, 3), dtype=np.uint16)
GREY16 = np.ascontiguousarray(RGB16[..., 0])


def read_header(path: Path) -> Header:
    """Return what the header of a file says."""
    with path.open("rb") as file:
        return layout_of(file, path.name).header


def smooth(height: int, width: int) -> NDArray[np.uint8]:
    """A sky-like picture without hard edges, nowhere the middle grey that decoders fill gaps with."""
    y, x = np.mgrid[0:height, 0:width]
    return np.stack([30 + 60 * x / width, 40 + 50 * y / height, 20 + 40 * x / width], axis=2).astype(np.uint8)


def save(path: Path, image: Image.Image, **options: Any) -> Path:
    image.save(path, **options)
    return path


def save16(path: Path, rgb: NDArray[np.uint16]) -> Path:
    path.write_bytes(cv2.imencode(path.suffix, rgb[..., ::-1])[1].tobytes())
    return path


@pytest.mark.parametrize("suffix", [".png", ".tif", ".TIFF"])
def test_eight_bit_codes_come_out_as_they_went_in(tmp_path: Path, suffix: str) -> None:
    picture = read_picture(save(tmp_path / f"F1{suffix}", Image.fromarray(RGB)))
    assert picture.codes.dtype == np.uint8
    np.testing.assert_array_equal(picture.codes, RGB)
    assert picture.profile == SRGB


@pytest.mark.parametrize("suffix", [".png", ".tif"])
def test_sixteen_bit_codes_come_out_as_they_went_in(tmp_path: Path, suffix: str) -> None:
    path = save16(tmp_path / f"F1{suffix}", RGB16)
    picture = read_picture(path)
    assert picture.codes.dtype == np.uint16
    np.testing.assert_array_equal(picture.codes, RGB16)
    assert read_header(path).bit_depth == 16


@pytest.mark.parametrize("suffix", [".png", ".tif"])
def test_sixteen_bit_grey_becomes_rgb(tmp_path: Path, suffix: str) -> None:
    picture = read_picture(save(tmp_path / f"F1{suffix}", Image.fromarray(GREY16)))
    np.testing.assert_array_equal(picture.codes, np.repeat(GREY16[..., None], 3, axis=2))


@pytest.mark.parametrize("suffix", [".png", ".tif"])
@pytest.mark.parametrize("mode", ["L", "1", "P", "RGBA", "LA"])
def test_other_kinds_become_rgb_and_lose_their_alpha(tmp_path: Path, suffix: str, mode: str) -> None:
    alpha = Image.fromarray(RNG.integers(0, 256, (30, 50), dtype=np.uint8))
    image = Image.fromarray(RGB).convert(mode)
    if mode.endswith("A"):
        image.putalpha(alpha)
    expected = np.asarray(image.convert("L").convert("RGB") if mode in ("L", "LA") else image.convert("RGB"))
    np.testing.assert_array_equal(read_picture(save(tmp_path / f"F1{suffix}", image)).codes, expected)


def test_sixteen_bit_alpha_is_dropped(tmp_path: Path) -> None:
    for suffix in (".png", ".tif"):
        path = tmp_path / f"F1{suffix}"
        path.write_bytes(cv2.imencode(suffix, np.dstack([RGB16[..., ::-1], GREY16]))[1].tobytes())
        np.testing.assert_array_equal(read_picture(path).codes, RGB16)


@pytest.mark.parametrize("compression", ["raw", "tiff_lzw", "tiff_adobe_deflate", "packbits"])
def test_tiff_compressions(tmp_path: Path, compression: str) -> None:
    path = save(tmp_path / "F1.tif", Image.fromarray(RGB), compression=compression)
    np.testing.assert_array_equal(read_picture(path).codes, RGB)


@pytest.mark.parametrize("suffix", [".jpg", ".png", ".tif"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_orientation_comes_out_upright(tmp_path: Path, suffix: str, orientation: int) -> None:
    exif = Image.Exif()
    exif[0x0112] = orientation
    image = Image.fromarray(smooth(48, 80))
    options: dict[str, Any] = {"quality": 100, "subsampling": 0} if suffix == ".jpg" else {}
    path = save(tmp_path / f"F1{suffix}", image, exif=exif, **options)
    with Image.open(path) as stored:
        expected = np.asarray(ImageOps.exif_transpose(stored).convert("RGB")).astype(int)
    codes = read_picture(path).codes
    assert np.abs(codes.astype(int) - expected).max() <= 2
    assert read_header(path)[:2] == (codes.shape[1], codes.shape[0])


def test_sixteen_bit_tiff_is_turned_once(tmp_path: Path) -> None:
    path = save16(tmp_path / "F1.tif", RGB16)
    data = bytearray(path.read_bytes())
    order = "<" if data[:2] == b"II" else ">"
    (start,) = struct.unpack_from(f"{order}I", data, 4)
    (count,) = struct.unpack_from(f"{order}H", data, start)
    entries = bytearray(data[start + 2 : start + 2 + 12 * count])
    entries += struct.pack(f"{order}HHIHH", 0x0112, 3, 1, 6, 0)
    rows = sorted(entries[i : i + 12] for i in range(0, len(entries), 12))
    rows.sort(key=lambda row: struct.unpack_from(f"{order}H", row)[0])
    struct.pack_into(f"{order}I", data, 4, len(data))
    data += struct.pack(f"{order}H", len(rows)) + b"".join(rows) + bytes(4)
    path.write_bytes(data)
    np.testing.assert_array_equal(read_picture(path).codes, np.rot90(RGB16, -1))


def test_a_jpeg_is_reduced_but_never_below_the_asked_length(tmp_path: Path) -> None:
    path = save(tmp_path / "F1.jpg", Image.fromarray(smooth(1000, 1600)), quality=95)
    sides = {
        asked: max(read_picture(path, min_long_side=asked).codes.shape) for asked in (100, 200, 201, 400, 500, 801, 5000)
    }
    assert sides == {100: 200, 200: 200, 201: 400, 400: 400, 500: 800, 801: 1600, 5000: 1600}
    full = cv2.resize(read_picture(path).codes, (200, 125), interpolation=cv2.INTER_AREA)
    reduced = read_picture(path, min_long_side=200).codes
    assert np.abs(full.astype(int) - reduced).max() <= 3


def test_other_formats_are_decoded_whole(tmp_path: Path) -> None:
    path = save(tmp_path / "F1.png", Image.fromarray(smooth(100, 160)))
    assert read_picture(path, min_long_side=20).codes.shape == (100, 160, 3)


@pytest.mark.parametrize("name", ["Nordlys 夜空 æøå.jpg", "ревонтулет.png", "émile ☆.tif"])
def test_names_in_any_script(tmp_path: Path, name: str) -> None:
    assert read_picture(save(tmp_path / name, Image.fromarray(RGB))).codes.shape == RGB.shape


@pytest.mark.parametrize("suffix", [".jpg", ".png", ".tif"])
def test_a_picture_of_one_pixel(tmp_path: Path, suffix: str) -> None:
    path = save(tmp_path / f"F1{suffix}", Image.new("RGB", (1, 1), (9, 9, 9)))
    assert read_picture(path, min_long_side=1024).codes.shape == (1, 1, 3)
    assert read_header(path)[:2] == (1, 1)


def test_the_name_may_be_wrong_about_the_format(tmp_path: Path) -> None:
    path = save(tmp_path / "F1.jpg", Image.fromarray(RGB), format="PNG")
    np.testing.assert_array_equal(read_picture(path).codes, RGB)
    assert read_header(path).format == "PNG"


@pytest.mark.parametrize(("kept", "low", "high"), [(0.3, 60, 78), (0.6, 30, 48)])
def test_a_jpeg_cut_short_says_how_much_is_missing(tmp_path: Path, kept: float, low: int, high: int) -> None:
    path = save(tmp_path / "F1.jpg", Image.fromarray(RNG.integers(0, 99, (640, 800, 3), dtype=np.uint8)), quality=90)
    data = path.read_bytes()
    path.write_bytes(data[: int(kept * len(data))])
    with pytest.raises(FrameError, match=r"F1.jpg ends early: \d+ % of the picture is missing") as caught:
        read_picture(path, min_long_side=100)
    share = int(caught.value.what.split(": ")[1].split(" %")[0])
    assert low <= share <= high
    assert caught.value.remedy


@pytest.mark.parametrize("options", [{}, {"progressive": True}])
def test_a_jpeg_without_its_last_bytes_is_refused(tmp_path: Path, options: dict[str, Any]) -> None:
    path = save(tmp_path / "F1.jpg", Image.fromarray(smooth(200, 300)), **options)
    path.write_bytes(path.read_bytes()[:-40])
    with pytest.raises(FrameError, match="ends early"):
        read_picture(path)


def test_a_jpeg_whose_tail_is_zeros_is_refused(tmp_path: Path) -> None:
    path = save(tmp_path / "F1.jpg", Image.fromarray(RNG.integers(0, 99, (640, 800, 3), dtype=np.uint8)))
    data = path.read_bytes()
    half = len(data) // 2
    path.write_bytes(data[:half] + bytes(len(data) - half))
    with pytest.raises(FrameError, match="ends early"):
        read_picture(path)


def test_an_end_mark_in_the_preview_does_not_hide_the_cut(tmp_path: Path) -> None:
    preview = BytesIO()
    Image.new("RGB", (40, 30)).save(preview, "JPEG")
    plain = BytesIO()
    Image.fromarray(smooth(300, 400)).save(plain, "JPEG")
    data = plain.getvalue()
    body = b"Exif\0\0" + preview.getvalue()
    whole = data[:2] + b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body + data[2:]
    path = tmp_path / "F1.jpg"
    path.write_bytes(whole)
    assert read_picture(path).codes.shape == (300, 400, 3)
    path.write_bytes(whole[: len(whole) * 2 // 3])
    with pytest.raises(FrameError, match="ends early"):
        read_picture(path)


@pytest.mark.parametrize("tail", [bytes(5000), b"\xff" * 300, b"MPF" * 100 + b"\xff\xd8\xff\xe0"])
def test_bytes_after_the_end_of_a_jpeg_do_no_harm(tmp_path: Path, tail: bytes) -> None:
    path = save(tmp_path / "F1.jpg", Image.fromarray(smooth(60, 90)))
    path.write_bytes(path.read_bytes() + tail)
    assert read_picture(path).codes.shape == (60, 90, 3)


@pytest.mark.parametrize("suffix", [".png", ".tif"])
@pytest.mark.parametrize("kept", [0.4, 0.98])
def test_other_formats_cut_short_are_refused(tmp_path: Path, suffix: str, kept: float) -> None:
    path = save(tmp_path / f"F1{suffix}", Image.fromarray(RNG.integers(0, 256, (90, 90, 3), dtype=np.uint8)))
    data = path.read_bytes()
    path.write_bytes(data[: int(kept * len(data))])
    with pytest.raises(FrameError, match=r"ends early|damaged"):
        read_picture(path)


def test_a_text_named_jpg_is_no_picture(tmp_path: Path) -> None:
    path = tmp_path / "notes.jpg"
    path.write_text("remember the spare battery")
    for read in (read_picture, read_header):
        with pytest.raises(FrameError, match=r"notes.jpg is not a picture in spite of its name"):
            read(path)


def test_an_empty_file_is_called_empty(tmp_path: Path) -> None:
    path = tmp_path / "F1.jpg"
    path.touch()
    with pytest.raises(FrameError, match=r"F1.jpg is empty"):
        read_picture(path)


def test_a_file_that_is_gone_is_named(tmp_path: Path) -> None:
    with pytest.raises(FrameError, match=r"F1.jpg is not there") as caught:
        read_picture(tmp_path / "F1.jpg")
    assert "card" in caught.value.remedy


def test_a_file_one_may_not_read_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = save(tmp_path / "F1.jpg", Image.fromarray(RGB))
    path.chmod(0)
    if os.access(path, os.R_OK):  # the superuser reads everything: let the system refuse in its place

        def refuse(*_: object, **__: object) -> None:
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(FrameError, match="permission denied"):
        read_picture(path)


def test_depths_and_colour_models_not_read_are_named(tmp_path: Path) -> None:
    floating = tmp_path / "F1.tif"
    floating.write_bytes(cv2.imencode(".tif", RGB.astype(np.float32))[1].tobytes())
    with pytest.raises(FrameError, match="floating-point"):
        read_picture(floating)
    for suffix in (".jpg", ".tif"):
        inks = save(tmp_path / f"F2{suffix}", Image.fromarray(RGB).convert("CMYK"))
        with pytest.raises(FrameError, match="CMYK"):
            read_picture(inks)
    wide = save(tmp_path / "F3.tif", Image.fromarray(RGB[..., 0].astype(np.int32)))
    with pytest.raises(FrameError, match=r"32 bits|signed"):
        read_header(wide)


def test_a_file_of_another_kind_is_not_taken_for_its_preview(tmp_path: Path) -> None:
    path = save(tmp_path / "F1.dng", Image.fromarray(RGB), format="TIFF")
    with pytest.raises(FrameError, match="is a RAW file"):
        read_picture(path)


def test_a_hundred_megapixels_are_fine_but_a_trap_is_not(tmp_path: Path) -> None:
    def header(width: int, height: int) -> bytes:
        body = b"IHDR" + struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
        return b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + body + struct.pack(">I", zlib.crc32(body)) + bytes(4) + b"IDAT"

    large = tmp_path / "large.png"
    large.write_bytes(header(12_000, 9_000))
    assert read_header(large) == (12_000, 9_000, 8, "PNG")
    trap = tmp_path / "trap.png"
    trap.write_bytes(header(60_000, 60_000))
    with pytest.raises(FrameError, match="too many to be true"):
        read_picture(trap)


def test_a_hundred_megapixel_jpeg_is_read_reduced(tmp_path: Path) -> None:
    path = tmp_path / "F1.jpg"
    path.write_bytes(cv2.imencode(".jpg", np.full((9000, 12_000), 60, np.uint8))[1].tobytes())
    assert read_picture(path, min_long_side=1024).codes.shape == (1125, 1500, 3)


def test_the_camera_mark_for_its_wider_space_is_heeded(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA001] = 0xFFFF
    exif.get_ifd(0x8769)[0xA005] = {1: "R03"}
    path = save(tmp_path / "F1.jpg", Image.fromarray(RGB), exif=exif)
    assert read_picture(path).profile == DCF_OPTION


def test_srgb_codes_become_light(tmp_path: Path) -> None:
    grey = np.repeat(np.arange(256, dtype=np.uint8)[None, :, None], 3, axis=2)
    light = to_linear(read_picture(save(tmp_path / "F1.png", Image.fromarray(grey))))
    assert light.dtype == np.float32
    np.testing.assert_allclose(light[0, :, 1], srgb_to_linear(np.arange(256) / 255), atol=1e-7)
    wide = to_linear(Picture(grey.astype(np.uint16) * 257, SRGB))
    np.testing.assert_allclose(wide, light, atol=1e-7)


@given(st.sampled_from([b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"II*\0", b"MM\0*", b"II+\0", b""]), st.binary(max_size=300))
def test_any_header_gives_facts_or_a_reason(magic: bytes, rest: bytes) -> None:
    try:
        layout = layout_of(BytesIO(magic + rest), "F1.jpg")
    except FrameError as error:
        assert error.what.startswith("F1.jpg ")
    else:
        assert layout.width > 0
        assert layout.height > 0


@given(st.integers(0, 700), st.binary(min_size=1, max_size=12))
def test_a_damaged_file_never_breaks_the_reader(at: int, noise: bytes) -> None:
    store = BytesIO()
    exif = Image.Exif()
    exif[0x0112] = 6
    Image.fromarray(smooth(16, 24)).save(store, "JPEG", exif=exif)
    data = bytearray(store.getvalue())
    data[at : at + len(noise)] = noise
    try:
        layout_of(BytesIO(bytes(data)), "F1.jpg")
    except FrameError as error:
        assert error.what


def test_a_large_jpeg_is_measured_quickly(tmp_path: Path) -> None:
    path = tmp_path / "F1.jpg"
    path.write_bytes(cv2.imencode(".jpg", np.tile(smooth(400, 600), (10, 10, 1)))[1].tobytes())
    started = time.perf_counter()
    assert max(read_picture(path, min_long_side=1024).codes.shape) == 1500
    assert time.perf_counter() - started < 2.0
