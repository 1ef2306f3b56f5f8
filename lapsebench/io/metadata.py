"""Reads what a still's metadata say of its exposure, time and camera; what is missing or absurd is unknown, never 0.

Tags: Exif 2.32 (CIPA DC-008), APEX values from its Annex C.
"""

from __future__ import annotations

import logging
import re
import struct
import warnings
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta, timezone
from io import BytesIO
from math import isfinite
from pathlib import Path
from typing import Any, BinaryIO

import exifread
from exifread.core.exceptions import ExifNotFound, InvalidExif
from PIL import Image

from lapsebench.core.sequence import Fault, Frame
from lapsebench.errors import FrameError
from lapsebench.io.header import Layout, layout_of, no_access

Tags = Mapping[int, Any]
"""Raw tag values by number: text, a number, or a sequence of numbers."""

logging.getLogger("exifread").setLevel(logging.CRITICAL + 1)  # what a damaged file lacks is shown as unknown
warnings.filterwarnings("ignore", category=UserWarning, module=r"PIL\.")

_LONGEST_EXPOSURE = 4 * 3600.0
_SMALLEST_F = 128.0
_HIGHEST_ISO = 10_000_000.0
_FIRST_YEAR = 1990
_DATE = re.compile(r"(\d{4})[:/.-](\d{1,2})[:/.-](\d{1,2})[ T]+(\d{1,2}):(\d{1,2}):(\d{1,2})")
_OFFSET = re.compile(r"([+-])(\d{2}):?(\d{2})")
_TIMES = ((0x9003, 0x9291, 0x9011), (0x9004, 0x9292, 0x9012), (0x0132, 0x9290, 0x9010))
"""Moment, its fraction of a second and its offset: of the exposure, of digitising, of the file."""

# A hostile block can make either library fail in any of these ways; no tag is then known.
_PARSER_ERRORS = (
    *(OSError, EOFError, SyntaxError, ValueError, LookupError, ArithmeticError, TypeError, AttributeError),
    *(AssertionError, NotImplementedError, RecursionError, MemoryError, struct.error, UserWarning),
)


def _exifread_tags(file: BinaryIO) -> dict[int, Any]:
    try:
        found = exifread.process_file(file, details=False, extract_thumbnail=False)
    except (*_PARSER_ERRORS, ExifNotFound, InvalidExif):
        return {}
    named = {key: tag for key, tag in found.items() if key.startswith(("Image ", "EXIF ")) and hasattr(tag, "values")}
    return {tag.tag: tag.values for key, tag in sorted(named.items(), reverse=True)}  # EXIF last: its tags win


def _pillow_tags(file: BinaryIO, layout: Layout) -> dict[int, Any]:
    try:
        exif = Image.Exif()
        if layout.exif:
            exif.load(b"Exif\0\0" + layout.exif)
        else:
            exif = Image.open(file, formats=("TIFF",)).getexif()
        return {**exif, **exif.get_ifd(0x8769)}
    except _PARSER_ERRORS:
        return {}


def _tags(file: BinaryIO, layout: Layout) -> Tags:
    """Return the tags of the main and the Exif directory; empty where there are none or they are past reading."""
    if not layout.exif and layout.format != "TIFF":
        return {}
    source = BytesIO(layout.exif) if layout.exif else file
    source.seek(0)
    tags = _exifread_tags(source)
    source.seek(0)
    return tags or _pillow_tags(source, layout)


def _number(value: Any) -> float | None:
    """Return the first number of a tag value; None for text, nothing, 0/0, infinity and the like."""
    while isinstance(value, list | tuple) and value:
        value = value[0]
    if isinstance(value, str | bytes):
        return None
    try:
        number = float(value)
    except (TypeError, ValueError, ArithmeticError):
        return None
    return number if isfinite(number) else None


def _within(value: float | None, low: float, high: float) -> float | None:
    """Return the value if it is above 0 and from `low` to `high`."""
    return value if value is not None and value > 0 and low <= value <= high else None


def _text(value: Any) -> str:
    if isinstance(value, bytes):
        value = value.decode("utf-8", "replace")
    return value.split("\0")[0].strip() if isinstance(value, str) else ""


def _power(apex: float | None, base: float) -> float | None:
    return base**apex if apex is not None and abs(apex) < 100 else None


def _exposure_s(tags: Tags) -> float | None:
    known = _within(_number(tags.get(0x829A)), 0.0, _LONGEST_EXPOSURE)
    return known or _within(_power(_number(tags.get(0x9201)), 0.5), 0.0, _LONGEST_EXPOSURE)


def _f_number(tags: Tags) -> float | None:
    """Return the f-number; an aperture value of 0 is what a manual lens leaves, not f/1."""
    known = _within(_number(tags.get(0x829D)), 0.0, _SMALLEST_F)
    return known or _within(_power(_number(tags.get(0x9202)) or None, 2**0.5), 0.0, _SMALLEST_F)


def _iso(tags: Tags) -> float | None:
    """Return the ISO speed; 65535 stands for "more than fits here", the true value being in a later tag."""
    first = _number(tags.get(0x8827))
    candidates = (None if first == 65535 else first, _number(tags.get(0x8832)), _number(tags.get(0x8833)))
    return next((iso for value in candidates if (iso := _within(value, 1.0, _HIGHEST_ISO))), None)


def _zone(text: str) -> timezone | None:
    if text == "Z":
        return UTC
    match = _OFFSET.fullmatch(text)
    if not match or (minutes := int(match[2]) * 60 + int(match[3])) > 15 * 60:
        return None
    return timezone(timedelta(minutes=-minutes if match[1] == "-" else minutes))


def _moment(text: str, fraction: str, offset: str) -> datetime | None:
    """Return the time of the Exif texts; None where it is none, such as "0000:00:00 00:00:00"."""
    match = _DATE.match(text)
    if not match or int(match[1]) < _FIRST_YEAR:
        return None
    year, month, day, hour, minute, second = map(int, match.groups())
    micro = int(fraction[:6].ljust(6, "0")) if fraction.isascii() and fraction.isdigit() else 0
    try:
        return datetime(year, month, day, hour, minute, second, micro, tzinfo=_zone(offset))
    except ValueError:
        return None


def _taken(tags: Tags) -> datetime | None:
    moments = (_moment(*(_text(tags.get(tag)) for tag in tags_of_time)) for tags_of_time in _TIMES)
    return next((moment for moment in moments if moment), None)


def _camera(tags: Tags) -> str | None:
    make, model = _text(tags.get(0x010F)), _text(tags.get(0x0110))
    if make and model.casefold().startswith(make.split()[0].casefold()):
        make = ""
    return f"{make} {model}".strip() or None


def _frame(path: Path, layout: Layout, tags: Tags) -> Frame:
    width, height, bit_depth, _ = layout.header
    return Frame(
        path,
        taken=_taken(tags),
        exposure_s=_exposure_s(tags),
        f_number=_f_number(tags),
        iso=_iso(tags),
        focal_mm=_within(_number(tags.get(0x920A)), 0.0, 100_000.0),
        camera=_camera(tags),
        serial=_text(tags.get(0xA431)) or None,
        width=width,
        height=height,
        orientation=layout.orientation,
        bit_depth=bit_depth,
    )


def read_metadata(path: Path) -> Frame:
    """Return the frame of a still from its header and Exif tags, without decoding the picture.

    Never raises for what a file holds or for being kept from it: such a frame is UNREADABLE, `problem` says why.
    """
    try:
        with path.open("rb") as file:
            layout = layout_of(file, path.name)
            return _frame(path, layout, _tags(file, layout))
    except OSError as error:
        problem = no_access(path.name, error).what
    except FrameError as error:
        problem = error.what
    return Frame(path, faults=frozenset({Fault.UNREADABLE}), problem=problem)
