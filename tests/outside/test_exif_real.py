"""Real files of many cameras, odd and broken ones too: each ends in a frame, and good ones agree with other readers."""

from __future__ import annotations

import time
from datetime import datetime
from math import isfinite
from pathlib import Path
from typing import Any

import exifread
import pytest
from PIL import Image

from lapsebench.errors import FrameError
from lapsebench.io.metadata import read_metadata
from lapsebench.io.read import read_picture

SHARED = Path(__file__).resolve().parents[2].parent / "shared" / "data"
FOLDERS = ("exif_real", "raw/bad", "aurora_still")
FILES = [path for folder in FOLDERS for path in sorted((SHARED / folder).rglob("*")) if path.is_file()]
PICTURES = [path for path in FILES if path.suffix.lower() in (".jpg", ".jpeg", ".tif", ".tiff")]

pytestmark = pytest.mark.skipif(not FILES, reason="the real files for checks are not beside the project")


def name(path: Path) -> str:
    return str(path.relative_to(SHARED))


@pytest.mark.parametrize("path", FILES, ids=name)
def test_every_file_ends_in_a_frame(path: Path) -> None:
    started = time.perf_counter()
    frame = read_metadata(path)
    assert time.perf_counter() - started < 10
    assert frame.readable or frame.problem
    if frame.readable:
        assert frame.width > 0
        assert frame.height > 0
    numbers = (frame.exposure_s, frame.f_number, frame.iso, frame.focal_mm)
    assert all(value is None or (isfinite(value) and value > 0) for value in numbers)


@pytest.mark.parametrize("path", FILES, ids=name)
def test_every_file_is_decoded_or_refused_with_a_reason(path: Path) -> None:
    started = time.perf_counter()
    frame = read_metadata(path)
    try:
        codes = read_picture(path).codes
    except FrameError as error:
        assert error.what
        assert error.remedy
    else:
        assert codes.shape == (frame.height, frame.width, 3)
    assert time.perf_counter() - started < 10


def first(value: Any) -> Any:
    while isinstance(value, list | tuple) and value:
        value = value[0]
    return value


def agrees(ours: float | None, theirs: Any, absurd: float) -> bool:
    """Whether our number is theirs, or unknown where theirs is nothing, 0 or beyond belief."""
    try:
        number = float(first(theirs))
    except (TypeError, ValueError, ZeroDivisionError):
        return True
    return ours == pytest.approx(number) if 0 < number < absurd else ours is None or ours > 0


@pytest.mark.parametrize("path", PICTURES, ids=name)
def test_exposure_agrees_with_another_reader(path: Path) -> None:
    frame = read_metadata(path)
    with path.open("rb") as file:
        tags = exifread.process_file(file, details=False)
    values = {key: tag.values for key, tag in tags.items() if hasattr(tag, "values")}
    assert agrees(frame.exposure_s, values.get("EXIF ExposureTime"), 14_400)
    assert agrees(frame.f_number, values.get("EXIF FNumber"), 128)
    assert agrees(frame.iso, values.get("EXIF ISOSpeedRatings"), 65535)
    text = values.get("EXIF DateTimeOriginal")
    if frame.taken and isinstance(text, str) and text[:4].isdigit():
        assert frame.taken.replace(microsecond=0, tzinfo=None) == datetime.strptime(text[:19], "%Y:%m:%d %H:%M:%S")


@pytest.mark.filterwarnings("ignore::UserWarning")
@pytest.mark.parametrize("path", PICTURES, ids=name)
def test_size_and_exposure_agree_with_pillow(path: Path) -> None:
    frame = read_metadata(path)
    with Image.open(path) as image:
        exif = image.getexif()
        detail = exif.get_ifd(0x8769)
        size = image.size[::-1] if frame.orientation >= 5 else image.size
        marked = exif.get(0x0112, 1)
    assert (frame.width, frame.height) == size
    assert frame.orientation == (marked if marked in range(1, 9) else 1)
    assert agrees(frame.exposure_s, detail.get(0x829A), 14_400)
    assert agrees(frame.iso, detail.get(0x8827), 65535)


def test_a_manual_lens_has_no_f_number_and_the_sky_does_the_rest() -> None:
    frames = [read_metadata(path) for path in FILES if path.parent.name == "aurora_still"]
    stills = [frame for frame in frames if frame.exposure_s]
    assert [frame.setting for frame in stills] == [(4.0, None, 16000.0)] * 2
    means = [float(read_picture(frame.path, min_long_side=256).codes.mean()) for frame in stills]
    assert abs(means[0] - means[1]) > 5


def test_a_zone_is_read_where_a_camera_names_it() -> None:
    times = [taken for path in FILES if (taken := read_metadata(path).taken)]
    assert [taken.isoformat() for taken in times if taken.tzinfo] == [
        "2022-08-14T14:12:31+03:00",
        "2018-02-21T12:08:56.210000+00:00",
    ]
