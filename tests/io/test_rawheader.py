"""RAW files: what their headers say becomes a frame, by whatever library can read the container."""

from __future__ import annotations

import shutil
import struct
import time
from collections.abc import Callable
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import exifread
import numpy as np
import pytest
import rawpy
from dng import write_dng
from made_files import cr3, exif_block, mrw, raf, saved, scene

from lapsebench.core.sequence import Fault, Frame
from lapsebench.errors import FrameError
from lapsebench.io.exif import tags_of
from lapsebench.io.metadata import read_metadata
from lapsebench.io.rawheader import tag_sources
from lapsebench.io.read import read_picture
from lapsebench.io.tags import Facts, facts_of, facts_of_values

CODES = np.random.default_rng(1).integers(500, 9000, (96, 144)).astype(np.uint16)
TAKEN = datetime(2026, 2, 11, 21, 4, 10, 250_000, tzinfo=timezone(timedelta(hours=1)))


def put(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path


def facts(path: Path) -> Facts:
    """Return what the tags in a RAW file's container say."""
    with path.open("rb") as file:
        return facts_of({tag: value for source in tag_sources(file) for tag, value in tags_of(source).items()})


@pytest.mark.parametrize("suffix", [".dng", ".DNG", ".nef", ".Arw"])
@pytest.mark.parametrize("preview", [b"", saved(scene(40, 60), "JPEG")], ids=["plain", "preview"])
def test_all_a_camera_writes_is_known(tmp_path: Path, suffix: str, preview: bytes) -> None:
    path = write_dng(tmp_path / f"F1{suffix}", CODES, preview=preview)
    assert read_metadata(path) == Frame(
        path,
        taken=datetime(2026, 2, 11, 21, 4, 5, 250_000, tzinfo=timezone(timedelta(hours=1))),
        exposure_s=8.0,
        f_number=2.8,
        iso=1600.0,
        focal_mm=14.0,
        camera="Velmar R1",
        serial="N2-00417",
        lens="Velmar 14 mm f/1.8",
        width=144,
        height=96,
        bit_depth=16,
    )


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_the_size_is_the_one_shown(tmp_path: Path, orientation: int) -> None:
    frame = read_metadata(write_dng(tmp_path / "F1.dng", CODES, orientation=orientation))
    assert (frame.width, frame.height) == ((96, 144) if orientation >= 5 else (144, 96))
    assert frame.orientation == orientation


@pytest.mark.parametrize(
    ("name", "wrapped"),
    [
        ("F1.cr3", lambda block: cr3(block, block)),
        ("F1.raf", lambda block: raf(saved(scene(40, 60), "JPEG", block))),
        ("F1.mrw", mrw),
        ("F1.orf", lambda block: b"IIRO" + block[4:] if block[:2] == b"II" else b"MMOR" + block[4:]),
    ],
)
def test_every_container_gives_its_tags(tmp_path: Path, name: str, wrapped: Callable[[bytes], bytes]) -> None:
    told = facts(put(tmp_path / name, wrapped(exif_block())))
    assert told == Facts(TAKEN, 8.0, 2.8, 1600.0, 14.0, "Velmar N2", "N2-00417", "Velmar 14 mm f/1.8")


def test_pillow_reads_what_the_first_library_can_not(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object, **__: object) -> None:
        raise ValueError("not today")

    monkeypatch.setattr("exifread.process_file", fail)
    frame = read_metadata(write_dng(tmp_path / "F1.dng", CODES, exposure_s=1 / 60))
    assert frame.exposure_s == pytest.approx(1 / 60)
    assert frame.lens == "Velmar 14 mm f/1.8"


def test_libraw_tells_where_no_library_reads_the_container(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lapsebench.io.rawheader.tag_sources", lambda _: [])
    frame = read_metadata(write_dng(tmp_path / "F1.dng", CODES, exposure_s=1 / 60))
    assert frame.exposure_s == pytest.approx(1 / 60, rel=2e-3)
    assert (frame.f_number, frame.iso, frame.focal_mm) == (2.8, 1600.0, 14.0)
    assert frame.taken == datetime(2026, 2, 11, 21, 4, 5)


def test_only_the_directories_of_a_long_file_are_read(tmp_path: Path) -> None:
    path = write_dng(tmp_path / "F1.dng", CODES)
    with path.open("ab") as file:
        file.truncate(80_000_000)
    times = []
    for _ in range(3):
        started = time.perf_counter()
        assert read_metadata(path).exposure_s == 8.0
        times.append(time.perf_counter() - started)
    assert min(times) < 0.1


@pytest.mark.parametrize(
    ("content", "words"),
    [(b"", "is empty"), (bytes(5000), "filled with zeros"), (b"hello" * 99, "not read"), (b"II*\0\x08\0\0\0", "damaged")],
)
def test_what_is_no_raw_is_flagged_with_the_reason(tmp_path: Path, content: bytes, words: str) -> None:
    frame = read_metadata(put(tmp_path / "F1.nef", content))
    assert frame.faults == {Fault.UNREADABLE}
    assert words in frame.problem


def test_a_jpeg_named_raw_is_not_taken_for_one(tmp_path: Path) -> None:
    assert not read_metadata(put(tmp_path / "F1.nef", saved(scene(), "JPEG"))).readable


def test_the_reader_of_finished_pictures_says_that_it_is_raw(tmp_path: Path) -> None:
    with pytest.raises(FrameError, match=r"F1.dng is a RAW file"):
        read_picture(write_dng(tmp_path / "F1.dng", CODES))


T, TV, N, AV, ISO, KIND, OUTPUT, INDEX, SPEED = 0x829A, 0x9201, 0x829D, 0x9202, 0x8827, 0x8830, 0x8831, 0x8832, 0x8833


@pytest.mark.parametrize(
    ("tags", "iso"),
    [
        ({ISO: 65535, KIND: 1, OUTPUT: 80_000, INDEX: 99_000}, 80_000),
        ({ISO: 65535, KIND: 2, OUTPUT: 80_000, INDEX: 102_400}, 102_400),
        ({ISO: 65535, KIND: 3, INDEX: 99_000, SPEED: 204_800}, 204_800),
        ({ISO: 65535, KIND: 4, OUTPUT: 80_000, INDEX: 102_400}, 102_400),
        ({ISO: 65535, KIND: 5, OUTPUT: 80_000, SPEED: 102_400}, 102_400),
        ({ISO: 65535, KIND: 7, SPEED: 102_400}, 102_400),
        ({ISO: 0, KIND: 2, INDEX: 6400}, 6400),
        ({ISO: 0, KIND: 0}, None),
        ({ISO: 3200, KIND: 2, INDEX: 6400}, 3200),
    ],
)
def test_the_sensitivity_that_the_camera_means(tags: dict[int, Any], iso: float | None) -> None:
    assert facts_of(tags).iso == iso


@pytest.mark.parametrize(
    ("tags", "exposure_s", "f_number"),
    [
        ({T: 0, TV: 0, N: 0, AV: 0}, None, None),
        ({T: 1, N: 1}, None, None),
        ({T: 1, N: 1, 0xA434: "Fast 50"}, 1.0, 1.0),
        ({T: 1, N: 1.4}, 1.0, 1.4),
        ({TV: 0, N: 4}, 1.0, 4.0),
        ({T: 0, TV: -3}, 8.0, None),
    ],
)
def test_placeholders_are_unknown(tags: dict[int, Any], exposure_s: float | None, f_number: float | None) -> None:
    assert facts_of(tags)[1:3] == (exposure_s, f_number)


def test_placeholders_of_a_library_are_unknown() -> None:
    assert facts_of_values(datetime(1970, 1, 1), "", exposure_s=1.0, f_number=1.0, iso=0.0, focal_mm=0.0) == Facts()
    assert facts_of_values(datetime(1970, 1, 1), "", exposure_s=float("inf"), f_number=0, iso=0, focal_mm=0) == Facts()


@pytest.mark.parametrize(
    ("make", "model", "lens"), [("", "----", None), ("Velmar", "", None), ("Velmar", "14 mm", "Velmar 14 mm")]
)
def test_the_lens_is_named_or_unknown(make: str, model: str, lens: str | None) -> None:
    assert facts_of({0xA433: make, 0xA434: model}).lens == lens


def test_broken_blocks_leave_the_frame_to_libraw(tmp_path: Path) -> None:
    block = exif_block()
    for name, data in (
        ("F1.cr3", cr3(block[:40], block)[:300]),
        ("F2.raf", raf(b"\xff\xd8\xff")),
        ("F3.mrw", mrw(block)[:30]),
    ):
        frame = read_metadata(put(tmp_path / name, data))
        assert not frame.readable
        assert frame.problem


@pytest.fixture(scope="module")
def good() -> Path:
    folder = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "raw" / "good"
    if not folder.is_dir():
        pytest.skip("the real files for checks are not beside the project")
    return folder


def test_real_raw_files_give_the_right_exposure_or_unknown(good: Path) -> None:
    frames = {path.suffix.upper(): read_metadata(path) for path in good.iterdir()}
    assert {suffix: frame.setting for suffix, frame in frames.items()} == {
        ".CRW": (4.97, 5.6, 100.0),
        ".KDC": (0.00435, 6.2, None),  # the file names no sensitivity
        ".DNG": (None, None, None),  # all placeholders: 0 s, f/0, ISO 0
    }
    assert frames[".CRW"].taken == datetime(2018, 1, 1, 13, 3, 32)
    assert frames[".KDC"].taken == datetime(1997, 4, 23, 8, 0, 47)
    assert frames[".DNG"].taken is None
    assert {(frame.width, frame.height) for frame in frames.values()} == {(2176, 1448), (768, 512), (1734, 1156)}


def test_the_real_crw_agrees_with_its_own_bytes(good: Path) -> None:
    """Shot information 0x102A of CIFF: time value / 32, aperture value / 64 and speed / 32, in stops."""
    data = next(good.glob("*.CRW")).read_bytes()
    words = struct.unpack_from("<32h", data, data.index(struct.pack("<3h", 50, 0, 160)))
    frame = read_metadata(next(good.glob("*.CRW")))
    assert frame.exposure_s == pytest.approx(2 ** (-words[5] / 32), rel=1e-3)
    assert frame.f_number == pytest.approx(2 ** (words[4] / 64), rel=1e-3)
    assert frame.iso == pytest.approx(50 * 2 ** (words[2] / 32 - 4), rel=1e-3)


def test_real_raw_files_agree_with_two_libraries(good: Path) -> None:
    for path in (*good.glob("*.KDC"), *good.parent.glob("bad/*.rw2"), *good.parent.glob("bad/DNG.dng")):
        frame = read_metadata(path)
        with path.open("rb") as file:
            tags = exifread.process_file(file, details=False)
        theirs = tags.get("EXIF ExposureTime") or tags["Image ExposureTime"]
        with rawpy.RawPy() as raw:
            raw.open_file(str(path))
            assert frame.exposure_s == pytest.approx(raw.other.shutter_speed, rel=1e-3)
            assert frame.f_number == pytest.approx(raw.other.aperture, rel=1e-3)
            assert frame.iso in (None, raw.other.iso_speed)
        assert frame.exposure_s == pytest.approx(float(theirs.values[0]))


def test_a_raw_with_a_name_in_any_script(tmp_path: Path) -> None:
    made = write_dng(tmp_path / "F1.dng", CODES)
    path = Path(shutil.copy(made, tmp_path / "夜空 æøå.dng"))
    assert read_metadata(path).readable
