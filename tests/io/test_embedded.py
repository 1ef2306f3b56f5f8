"""Embedded previews: quick, upright, in sRGB, and none where there is none."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from dng import write_dng
from made_files import exif_block, heic, made_files, saved, scene, with_thumbnail
from numpy.typing import NDArray

from lapsebench.io.embedded import embedded_preview
from lapsebench.io.read import read_picture

SKY = scene(400, 600)
CODES = np.random.default_rng(1).integers(500, 9000, (96, 144)).astype(np.uint16)


def small(rows: int, cols: int) -> NDArray[np.uint8]:
    return np.asarray(cv2.resize(SKY, (cols, rows), interpolation=cv2.INTER_AREA), np.uint8)


def put(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path


def close(look: NDArray[Any] | None, expected: NDArray[Any]) -> bool:
    """Whether a look shows the same as a larger or smaller picture."""
    if look is None or look.dtype != np.uint8:
        return False
    same = cv2.resize(expected.astype(np.uint8), look.shape[1::-1], interpolation=cv2.INTER_AREA)
    return bool(np.abs(look.astype(int) - same).mean() < 5)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_thumbnail_comes_upright_and_without_its_bars(tmp_path: Path, orientation: int) -> None:
    barred = np.zeros((120, 160, 3), np.uint8)
    barred[6:113] = small(107, 160)
    exif = exif_block(orientation=orientation, thumbnail=saved(barred, "JPEG", quality=95))
    path = put(tmp_path / "F1.jpg", saved(SKY, "JPEG", exif))
    look = embedded_preview(path)
    assert look is not None
    assert look.shape[:2] == ((160, 107) if orientation >= 5 else (107, 160))
    assert close(look, read_picture(path).codes)


def test_a_jpeg_without_a_thumbnail_gives_itself_reduced(tmp_path: Path) -> None:
    look = embedded_preview(put(tmp_path / "F1.jpg", saved(scene(1600, 2400), "JPEG", exif_block(orientation=6))))
    assert look is not None
    assert look.shape == (600, 400, 3) or max(look.shape) >= 320
    assert look.shape[0] > look.shape[1]


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_the_preview_of_a_raw_comes_upright(tmp_path: Path, orientation: int) -> None:
    preview = saved(small(320, 480), "JPEG", quality=95)
    path = write_dng(tmp_path / "F1.dng", CODES, preview=preview, orientation=orientation)
    upright = np.rot90(small(320, 480), {1: 0, 3: 2, 6: 3, 8: 1}[orientation])
    assert close(embedded_preview(path), upright)


def test_a_thumbnail_beside_the_tags_goes_before_a_large_preview(tmp_path: Path) -> None:
    made = write_dng(tmp_path / "F1.dng", CODES, preview=saved(scene(), "JPEG"), orientation=6)
    made.write_bytes(with_thumbnail(made.read_bytes(), saved(small(107, 160), "JPEG", quality=95)))
    look = embedded_preview(made)
    assert look is not None
    assert look.shape == (160, 107, 3)
    assert close(look, np.rot90(small(107, 160), 3))


def test_the_thumbnail_of_a_heic_is_used(tmp_path: Path) -> None:
    exif = exif_block(thumbnail=saved(small(107, 160), "JPEG", quality=95))
    assert close(embedded_preview(put(tmp_path / "F1.heic", heic(SKY, exif))), SKY)


def test_where_there_is_none_there_is_none(tmp_path: Path) -> None:
    assert embedded_preview(tmp_path / "gone.jpg") is None
    assert embedded_preview(write_dng(tmp_path / "F1.dng", CODES)) is None
    assert embedded_preview(put(tmp_path / "F1.heic", heic(scene(), exif_block()))) is None
    assert embedded_preview(put(tmp_path / "F1.png", saved(scene(), "PNG"))) is None


def test_bad_files_have_none_and_never_raise(tmp_path: Path) -> None:
    for name, data in made_files(tmp_path).items():
        for kept in (0, 10, len(data) // 3):
            embedded_preview(put(tmp_path / name, data[:kept]))
        embedded_preview(put(tmp_path / name, bytes(len(data))))


def test_a_thumbnail_takes_no_time(tmp_path: Path) -> None:
    exif = exif_block(thumbnail=saved(small(107, 160), "JPEG"))
    path = put(tmp_path / "F1.jpg", saved(scene(1600, 2400), "JPEG", exif))
    times = []
    for _ in range(5):
        started = time.perf_counter()
        embedded_preview(path)
        times.append(time.perf_counter() - started)
    assert min(times) < 0.015
