"""A still kept as RAW and as a finished picture is one frame: the RAW, or what can be read of the two."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from dng import write_dng
from made_files import exif_block, heic, saved, scene

from lapsebench.core.sequence import Fault
from lapsebench.io.scan import Gathered, gather

START = datetime(2026, 2, 11, 21, 0, 0)


def raw(path: Path, second: int) -> Path:
    codes = np.random.default_rng(second).integers(500, 9000, (96, 144)).astype(np.uint16)
    return write_dng(path, codes, taken=START + timedelta(seconds=second))


def finished(path: Path, second: int) -> Path:
    exif = exif_block({0x9003: f"{START + timedelta(seconds=second):%Y:%m:%d %H:%M:%S}"})
    path.write_bytes(heic(scene(), exif) if path.suffix.lower() == ".heic" else saved(scene(), "JPEG", exif))
    return path


def names(gathered: Gathered) -> list[str]:
    return [frame.path.name for frame in gathered.frames]


def test_raw_is_taken_of_a_pair(tmp_path: Path) -> None:
    for number, suffix in enumerate((".JPG", ".jpg", ".HEIC", ".jpeg")):
        raw(tmp_path / f"N{number}.DNG", number)
        finished(tmp_path / f"n{number}{suffix}", number)
    finished(tmp_path / "N8.jpg", 8)
    gathered = gather([tmp_path])
    assert names(gathered) == ["N0.DNG", "N1.DNG", "N2.DNG", "N3.DNG", "N8.jpg"]
    assert "4 frames are there as RAW and as a finished picture: the RAW file is taken." in gathered.notes
    assert not any(Fault.DUPLICATE in frame.faults for frame in gathered.frames)


def test_the_finished_picture_stands_in_for_a_raw_past_reading(tmp_path: Path) -> None:
    for number in range(3):
        raw(tmp_path / f"N{number}.dng", number)
        finished(tmp_path / f"N{number}.jpg", number)
    (tmp_path / "N1.dng").write_bytes(bytes(4000))
    gathered = gather([tmp_path])
    assert names(gathered) == ["N0.dng", "N1.jpg", "N2.dng"]
    assert all(frame.readable for frame in gathered.frames)
    assert "1 of these RAW files can't be read: the finished picture stands in (N1.jpg)." in gathered.notes


def test_where_neither_can_be_read_the_raw_is_flagged(tmp_path: Path) -> None:
    for number in range(3):
        raw(tmp_path / f"N{number}.dng", number)
    for suffix in (".dng", ".jpg"):
        (tmp_path / f"N1{suffix}").write_bytes(b"")
    gathered = gather([tmp_path])
    assert names(gathered) == ["N0.dng", "N1.dng", "N2.dng"]
    assert gathered.frames[1].faults == {Fault.UNREADABLE}


def test_same_names_in_other_folders_are_no_pair(tmp_path: Path) -> None:
    for folder in ("raw", "jpeg"):
        (tmp_path / folder).mkdir()
    raw(tmp_path / "raw" / "N1.dng", 1)
    finished(tmp_path / "jpeg" / "N1.jpg", 5)
    assert len(gather([tmp_path / "raw", tmp_path / "jpeg"]).frames) == 2


def test_sidecars_are_ignored_in_one_short_note(tmp_path: Path) -> None:
    for number in range(3):
        raw(tmp_path / f"N{number}.dng", number)
        for suffix in (".xmp", ".pp3", ".THM", ".dng.dop"):
            (tmp_path / f"N{number}{suffix}").write_text("x")
    gathered = gather([tmp_path])
    assert len(gathered.frames) == 3
    assert len(gathered.notes) == 1
    assert gathered.notes[0].startswith("Left aside: 12 files that are no pictures (")
