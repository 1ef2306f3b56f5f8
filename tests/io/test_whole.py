"""A clean return of a decoder is no proof: damaged pictures are refused with words, honest dark ones are not."""

from __future__ import annotations

import random
import struct
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from made_files import heic, saved, scene

from lapsebench.errors import FrameError
from lapsebench.io.header import layout_of
from lapsebench.io.read import read_picture

SKY = scene(400, 640)
_KINDS: list[dict[str, Any]] = [{}, {"optimize": True}, {"restart_marker_blocks": 20}, {"subsampling": 0}]


def scan_of(jpeg: bytes) -> int:
    return layout_of(BytesIO(jpeg), "F1.jpg").scan.start


def refusal(tmp_path: Path, data: bytes, suffix: str = ".jpg") -> str:
    """Return the words with which a file is refused; empty where it is read."""
    path = tmp_path / f"F1{suffix}"
    path.write_bytes(data)
    try:
        read_picture(path, min_long_side=300)
    except FrameError as error:
        assert error.remedy
        return error.what
    return ""


@pytest.mark.parametrize("options", [*_KINDS, {"progressive": True}], ids=str)
@pytest.mark.parametrize("picture", ["dark", "black below", "black", "white", "grey", "night"])
def test_honest_pictures_are_read(tmp_path: Path, options: dict[str, Any], picture: str) -> None:
    codes = {
        "dark": SKY // 8,
        "black below": np.where(np.arange(400)[:, None, None] < 200, SKY, 0).astype(np.uint8),
        "black": np.zeros_like(SKY),
        "white": np.full_like(SKY, 255),
        "grey": np.full_like(SKY, 128),
        "night": SKY,
    }[picture]
    assert not refusal(tmp_path, saved(codes, "JPEG", **options))


@pytest.mark.parametrize("options", _KINDS, ids=str)
@pytest.mark.parametrize("share", [0.2, 0.5, 0.9])
def test_code_that_stops_before_the_end_mark_is_noticed(tmp_path: Path, options: dict[str, Any], share: float) -> None:
    jpeg = saved(SKY, "JPEG", quality=92, **options)
    at = scan_of(jpeg) + int(share * (len(jpeg) - scan_of(jpeg)))
    words = refusal(tmp_path, jpeg[:at] + b"\xff\xd9")
    assert words.startswith("F1.jpg ends early") or "missing or overwritten" in words


def test_it_says_how_much_is_missing(tmp_path: Path) -> None:
    jpeg = saved(SKY[:200].repeat(2, axis=0), "JPEG", quality=92)
    at = scan_of(jpeg) + (len(jpeg) - scan_of(jpeg)) // 2
    words = refusal(tmp_path, jpeg[:at] + b"\xff\xd9")
    assert 40 < int(words.split(": ")[1].split(" %")[0]) < 60


@pytest.mark.parametrize("options", _KINDS, ids=str)
@pytest.mark.parametrize("filler", ["zeros", "erased", "noise"])
@pytest.mark.parametrize("seed", range(4))
def test_an_overwritten_sector_is_noticed(tmp_path: Path, options: dict[str, Any], filler: str, seed: int) -> None:
    jpeg = bytearray(saved(SKY, "JPEG", quality=92, **options))
    chance = random.Random(seed)
    at = chance.randrange(scan_of(bytes(jpeg)), len(jpeg) - 5000)
    size = 4096
    jpeg[at : at + size] = {"zeros": bytes(size), "erased": b"\xff" * size, "noise": chance.randbytes(size)}[filler]
    assert refusal(tmp_path, bytes(jpeg))


def test_zeros_up_to_the_end_mark_are_noticed(tmp_path: Path) -> None:
    jpeg = saved(SKY, "JPEG", quality=92)
    at = (scan_of(jpeg) + len(jpeg)) // 2
    assert refusal(tmp_path, jpeg[:at] + bytes(len(jpeg) - at - 2) + b"\xff\xd9")


def test_a_lost_piece_with_restarts_is_noticed(tmp_path: Path) -> None:
    jpeg = saved(SKY, "JPEG", quality=92, restart_marker_blocks=10)
    at = (scan_of(jpeg) + len(jpeg)) // 2
    assert "missing or overwritten" in refusal(tmp_path, jpeg[:at] + jpeg[at + 2000 :])


def test_a_piece_of_another_picture_is_noticed_by_its_looks(tmp_path: Path) -> None:
    """Code of the same camera is valid code: only the break it leaves gives it away, and a strict decoder."""
    jpeg = saved(SKY, "JPEG", quality=92)
    other = saved(scene(400, 640, seed=9)[::-1], "JPEG", quality=92)
    start, noticed = scan_of(jpeg), 0
    for seed in range(12):
        at = random.Random(seed).randrange(start, len(jpeg) - 9000)
        noticed += bool(refusal(tmp_path, jpeg[:at] + other[at : at + 8192] + jpeg[at + 8192 :]))
    assert noticed >= 4


def test_a_file_of_zeros_says_so(tmp_path: Path) -> None:
    for suffix in (".jpg", ".heic", ".tif", ".png"):
        assert "filled with zeros" in refusal(tmp_path, bytes(4000), suffix)


def test_a_header_of_many_pixels_over_little_code_is_refused_at_once(tmp_path: Path) -> None:
    jpeg = bytearray(saved(SKY[:16, :16], "JPEG"))
    struct.pack_into(">HH", jpeg, jpeg.index(b"\xff\xc0") + 5, 19_000, 19_000)
    assert "ends early" in refusal(tmp_path, bytes(jpeg))
    struct.pack_into(">HH", jpeg, jpeg.index(b"\xff\xc0") + 5, 60_000, 60_000)
    assert "too many to be true" in refusal(tmp_path, bytes(jpeg))


def test_thousands_of_passes_are_refused(tmp_path: Path) -> None:
    jpeg = saved(SKY, "JPEG", progressive=True)
    last = jpeg.rindex(b"\xff\xda")
    assert "too many passes" in refusal(tmp_path, jpeg[:-2] + jpeg[last:-2] * 300 + b"\xff\xd9")


def test_a_changed_byte_of_a_png_is_noticed(tmp_path: Path) -> None:
    png = bytearray(saved(SKY, "PNG"))
    png[len(png) // 2] ^= 1
    assert "missing or overwritten" in refusal(tmp_path, bytes(png), ".png")


@pytest.mark.parametrize("compression", ["tiff_lzw", "tiff_adobe_deflate", "raw"])
def test_short_strips_of_a_tiff_are_noticed(tmp_path: Path, compression: str) -> None:
    tiff = saved(SKY, "TIFF", compression=compression)
    pieces = layout_of(BytesIO(tiff), "F1.tif").pieces
    start, length = pieces[len(pieces) // 2]
    if compression == "raw":
        assert "ends early" in refusal(tmp_path, tiff[: start + length // 2], ".tif")
        return
    changed = bytearray(tiff)
    at = tiff.index(struct.pack("<I", length), start + length if pieces[0][0] == 8 else 0)
    struct.pack_into("<I", changed, at, length // 2)
    assert "damaged" in refusal(tmp_path, bytes(changed), ".tif")


def test_a_heic_cut_short_or_with_a_hole_is_noticed(tmp_path: Path) -> None:
    good = heic(SKY)
    start, length = layout_of(BytesIO(good), "F1.heic").pieces[0]
    assert not refusal(tmp_path, good, ".heic")
    middle = start + length // 2
    assert "ends early" in refusal(tmp_path, good[:middle], ".heic")
    assert "missing or overwritten" in refusal(tmp_path, good[:middle] + bytes(512) + good[middle + 512 :], ".heic")


@pytest.mark.parametrize("quality", [30, 75, 100])
def test_random_pictures_are_never_refused(tmp_path: Path, quality: int) -> None:
    chance = np.random.default_rng(quality)
    for _ in range(25):
        size = chance.integers(1, 90, 2)
        codes = chance.integers(0, 256, (*size, 3), dtype=np.uint8)
        if chance.random() < 0.5:
            codes[chance.integers(0, size[0]) :] = chance.integers(0, 256, 3)
        options: dict[str, Any] = {"progressive": bool(chance.random() < 0.3), "optimize": bool(chance.random() < 0.5)}
        assert not refusal(tmp_path, saved(codes, "JPEG", quality=quality, **options))
