"""Metadata of a still: what the camera wrote is known, what it didn't or can't have meant is unknown, never 0."""

from __future__ import annotations

import logging
import os
import struct
from datetime import UTC, datetime, timedelta, timezone
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from lapsebench.core.sequence import Fault, Frame
from lapsebench.io.metadata import read_metadata

T, TV, N, AV, ISO, REI, SPEED = 0x829A, 0x9201, 0x829D, 0x9202, 0x8827, 0x8832, 0x8833
ORIGINAL, DIGITISED, SUBSEC, OFFSET = 0x9003, 0x9004, 0x9291, 0x9011
MOMENT = "2026:02:11 21:04:10"


def ratio(top: int, bottom: int = 1) -> IFDRational:
    return IFDRational(top, bottom)


def still(path: Path, detail: dict[int, Any] | None = None, main: dict[int, Any] | None = None) -> Path:
    """A small still with these tags in its Exif and its main directory."""
    exif = Image.Exif()
    exif.update(main or {})
    exif.get_ifd(0x8769).update(detail or {})
    Image.new("RGB", (60, 40), (20, 40, 30)).save(
        path, exif=exif.tobytes()
    )  # as an object Pillow leaves half of it out of a TIFF
    return path


def read(tmp_path: Path, detail: dict[int, Any] | None = None, main: dict[int, Any] | None = None) -> Frame:
    return read_metadata(still(tmp_path / "F1.jpg", detail, main))


@pytest.mark.parametrize("suffix", [".jpg", ".png", ".tif"])
def test_all_a_camera_writes_is_known(tmp_path: Path, suffix: str) -> None:
    detail = {T: ratio(10), N: ratio(28, 10), ISO: 1600, ORIGINAL: MOMENT, SUBSEC: "25", OFFSET: "+01:00"}
    detail |= {0x920A: ratio(14), 0xA431: "0042017"}
    frame = read_metadata(still(tmp_path / f"F1{suffix}", detail, {0x010F: "Northcam", 0x0110: "Mark 3", 0x0112: 8}))
    zone = timezone(timedelta(hours=1))
    assert frame == Frame(
        tmp_path / f"F1{suffix}",
        taken=datetime(2026, 2, 11, 21, 4, 10, 250_000, tzinfo=zone),
        exposure_s=10.0,
        f_number=2.8,
        iso=1600.0,
        focal_mm=14.0,
        camera="Northcam Mark 3",
        serial="0042017",
        width=40,
        height=60,
        orientation=8,
    )


@pytest.mark.parametrize("suffix", [".jpg", ".png", ".tif"])
def test_a_still_without_metadata_knows_only_its_size(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"F1{suffix}"
    Image.new("RGB", (60, 40)).save(path)
    assert read_metadata(path) == Frame(path, width=60, height=40)


def test_sixteen_bits_are_noticed(tmp_path: Path) -> None:
    path = tmp_path / "F1.png"
    Image.new("I;16", (60, 40)).save(path)
    assert read_metadata(path).bit_depth == 16


def test_apex_values_stand_in_for_missing_ones(tmp_path: Path) -> None:
    frame = read(tmp_path, {TV: ratio(-3), AV: ratio(3)})
    assert frame.exposure_s == pytest.approx(8.0)
    assert frame.f_number == pytest.approx(2.828, abs=1e-3)


@pytest.mark.parametrize("value", [ratio(0), ratio(0, 0), ratio(5, 0), ratio(14_401)])
def test_an_absurd_exposure_time_is_unknown(tmp_path: Path, value: IFDRational) -> None:
    frame = read(tmp_path, {T: value})
    assert frame.exposure_s is None
    assert frame.exposure_ev is None


@pytest.mark.parametrize("value", [ratio(0), ratio(0, 0), ratio(1, 0), ratio(200)])
def test_an_absurd_f_number_is_unknown(tmp_path: Path, value: IFDRational) -> None:
    assert read(tmp_path, {N: value, AV: ratio(0)}).f_number is None


def test_long_exposures_are_believed(tmp_path: Path) -> None:
    assert read(tmp_path, {T: ratio(1200)}).exposure_s == 1200.0


@pytest.mark.parametrize(
    ("tags", "iso"),
    [
        ({ISO: 3200}, 3200.0),
        ({ISO: (800, 0)}, 800.0),
        ({ISO: 65535, REI: 102_400}, 102_400.0),
        ({ISO: 65535, SPEED: 204_800}, 204_800.0),
        ({ISO: 65535}, None),
        ({ISO: 0}, None),
        ({REI: 6400}, 6400.0),
        ({ISO: 65535, REI: 4_000_000_000}, None),
        ({}, None),
    ],
)
def test_iso(tmp_path: Path, tags: dict[int, Any], iso: float | None) -> None:
    assert read(tmp_path, tags).iso == iso


@pytest.mark.parametrize(
    ("text", "micro"),
    [("5", 500_000), ("05", 50_000), ("123", 123_000), ("1234567", 123_456), ("  ", 0), ("x1", 0), ("", 0)],
)
def test_fractions_of_a_second_are_decimals(tmp_path: Path, text: str, micro: int) -> None:
    taken = read(tmp_path, {ORIGINAL: MOMENT, SUBSEC: text}).taken
    assert taken == datetime(2026, 2, 11, 21, 4, 10, micro)


@pytest.mark.parametrize(
    ("text", "hours"), [("+01:00", 1), ("-03:30", -3.5), ("Z", 0), ("   :  ", None), ("+99:00", None), ("noon", None)]
)
def test_the_zone_is_known_only_where_it_is_named(tmp_path: Path, text: str, hours: float | None) -> None:
    taken = read(tmp_path, {ORIGINAL: MOMENT, OFFSET: text}).taken
    assert taken is not None
    assert taken.utcoffset() == (None if hours is None else timedelta(hours=hours))
    assert taken.replace(tzinfo=UTC).hour == 21


@pytest.mark.parametrize(
    "text", ["0000:00:00 00:00:00", "    :  :     :  :  ", "1980:01:01 00:00:00", "2026:02:30 21:04:10", "yesterday", ""]
)
def test_a_time_that_is_none_is_unknown(tmp_path: Path, text: str) -> None:
    assert read(tmp_path, {ORIGINAL: text}).taken is None


def test_the_time_of_exposure_goes_before_later_ones(tmp_path: Path) -> None:
    later = {0x0132: "2026:03:01 08:00:00"}
    both = {ORIGINAL: MOMENT, DIGITISED: "2026:02:12 00:00:00"}
    days = [read(tmp_path, tags, later).taken for tags in (both, {DIGITISED: both[DIGITISED]}, {})]
    assert [day and (day.month, day.day) for day in days] == [(2, 11), (2, 12), (3, 1)]
    spoilt = read(tmp_path, {ORIGINAL: "0000:00:00 00:00:00", SUBSEC: "77", DIGITISED: both[DIGITISED]}).taken
    assert spoilt == datetime(2026, 2, 12)


@pytest.mark.parametrize(
    ("make", "model", "camera"),
    [
        ("Northcam", "Northcam Mark 3", "Northcam Mark 3"),
        ("NORTHCAM CORPORATION", "Northcam M3", "Northcam M3"),
        ("Northcam", "M3", "Northcam M3"),
        ("Northcam  ", "M3\0\0 old", "Northcam M3"),
        ("", "M3", "M3"),
        ("", "", None),
    ],
)
def test_the_camera_is_named_once(tmp_path: Path, make: str, model: str, camera: str | None) -> None:
    assert read(tmp_path, main={0x010F: make, 0x0110: model}).camera == camera


def test_broken_exif_leaves_the_picture_usable(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    path = still(tmp_path / "F1.jpg", {T: ratio(10)})
    data = path.read_bytes()
    start = data.index(b"Exif\0\0") + 6
    path.write_bytes(data[: start + 8] + b"\xee" * 20 + data[start + 28 :])
    with caplog.at_level(logging.WARNING):
        frame = read_metadata(path)
    assert frame.readable
    assert (frame.width, frame.height) == (60, 40)
    assert frame.exposure_s is None
    assert not caplog.records


def test_pillow_reads_what_the_first_library_can_not(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object, **__: object) -> None:
        raise ValueError("not today")

    monkeypatch.setattr("exifread.process_file", fail)
    for suffix in (".jpg", ".tif"):
        frame = read_metadata(still(tmp_path / f"F1{suffix}", {T: ratio(1, 60), ISO: 400, ORIGINAL: MOMENT}))
        assert frame.exposure_s == pytest.approx(1 / 60)
        assert frame.iso == 400.0
        assert frame.taken == datetime(2026, 2, 11, 21, 4, 10)


@pytest.mark.parametrize(
    ("content", "words"),
    [(b"", "is empty"), (b"hello", "not a picture"), (b"\xff\xd8\xff\xe1", "damaged header"), (b"II*\0", "damaged header")],
)
def test_what_is_no_picture_is_flagged_with_the_reason(tmp_path: Path, content: bytes, words: str) -> None:
    path = tmp_path / "F1.jpg"
    path.write_bytes(content)
    frame = read_metadata(path)
    assert frame.faults == {Fault.UNREADABLE}
    assert words in frame.problem
    assert (frame.exposure_s, frame.taken) == (None, None)


def test_a_file_out_of_reach_is_flagged_with_the_reason(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert "is not there" in read_metadata(tmp_path / "gone.jpg").problem
    path = still(tmp_path / "F1.jpg")
    path.chmod(0)
    if os.access(path, os.R_OK):  # the superuser reads everything: let the system refuse in its place

        def refuse(*_: object, **__: object) -> None:
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr(Path, "open", refuse)
    frame = read_metadata(path)
    assert not frame.readable
    assert "permission denied" in frame.problem


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(
    top=st.integers(0, 2**32 - 1),
    bottom=st.integers(0, 2**32 - 1),
    iso=st.integers(0, 65535),
    date=st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=19),
)
def test_numbers_are_right_or_unknown(tmp_path: Path, top: int, bottom: int, iso: int, date: str) -> None:
    frame = read(tmp_path, {T: ratio(top, bottom), N: ratio(top, bottom), ISO: iso, ORIGINAL: date})
    value = Fraction(top, bottom) if bottom else None
    if frame.exposure_s is not None:
        assert frame.exposure_s == pytest.approx(float(value or 0))
        assert 0 < frame.exposure_s <= 14_400
    if frame.f_number is not None:
        assert 0 < frame.f_number <= 128
    assert frame.iso == (float(iso) if 0 < iso < 65535 else None)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=200)
@given(at=st.integers(20, 260), noise=st.binary(min_size=1, max_size=8))
def test_damage_anywhere_in_the_header_is_survived(tmp_path: Path, at: int, noise: bytes) -> None:
    path = still(tmp_path / "F1.jpg", {T: ratio(10), ISO: 800, ORIGINAL: MOMENT, 0xA431: "7"}, {0x0110: "Mark 3"})
    data = bytearray(path.read_bytes())
    data[at : at + len(noise)] = noise
    path.write_bytes(data)
    frame = read_metadata(path)
    assert frame.readable or frame.problem


def test_a_tag_that_claims_to_be_huge_takes_no_time(tmp_path: Path) -> None:
    path = still(tmp_path / "F1.jpg", {T: ratio(10)})
    data = bytearray(path.read_bytes())
    at = data.index(struct.pack(">HHI", T, 5, 1)) if data.find(b"MM") > 0 else data.index(struct.pack("<HHI", T, 5, 1))
    data[at + 4 : at + 8] = b"\xff\xff\xff\xff"
    path.write_bytes(data)
    assert read_metadata(path).exposure_s is None
