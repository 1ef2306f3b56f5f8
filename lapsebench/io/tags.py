"""What Exif tags say of exposure, time, camera and lens; what is missing, absurd or a placeholder is unknown, never 0.

Exif 2.32 (CIPA DC-008), APEX values from its Annex C, sensitivities from its section 4.6.7.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta, timezone
from math import isfinite
from typing import Any, NamedTuple

Tags = Mapping[int, Any]
"""Raw tag values by number: text, a number, or a sequence of numbers."""

_LONGEST_EXPOSURE = 4 * 3600.0
_SMALLEST_F = 128.0
_HIGHEST_ISO = 10_000_000.0
_FIRST_YEAR = 1990
_DATE = re.compile(r"(\d{4})[:/.-](\d{1,2})[:/.-](\d{1,2})[ T]+(\d{1,2}):(\d{1,2}):(\d{1,2})")
_OFFSET = re.compile(r"([+-])(\d{2}):?(\d{2})")
_TIMES = ((0x9003, 0x9291, 0x9011), (0x9004, 0x9292, 0x9012), (0x0132, 0x9290, 0x9010))
"""Moment, its fraction of a second and its offset: of the exposure, of digitising, of the file."""
_OUTPUT, _INDEX, _SPEED = 0x8831, 0x8832, 0x8833
_MEANT = {1: (_OUTPUT,), 2: (_INDEX,), 3: (_SPEED,), 4: (_INDEX, _OUTPUT), 5: (_SPEED, _OUTPUT), 6: (_INDEX, _SPEED)}
"""Tags of the sensitivity that a camera means by its kind (0x8830)."""
_NO_NAME = frozenset({"unknown", "none", "n/a", "na", "null", "no lens"})


class Facts(NamedTuple):
    """What metadata say of a frame; None is unknown. Times are aware where the file names its zone."""

    taken: datetime | None = None
    exposure_s: float | None = None
    f_number: float | None = None
    iso: float | None = None
    focal_mm: float | None = None
    camera: str | None = None
    serial: str | None = None
    lens: str | None = None


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
    """Return the exposure time; a time value of 0 (1 s) beside an empty exposure time is a placeholder too."""
    known, apex = _within(_number(tags.get(0x829A)), 0.0, _LONGEST_EXPOSURE), _number(tags.get(0x9201))
    if known or (not apex and 0x829A in tags):
        return known
    return _within(_power(apex, 0.5), 0.0, _LONGEST_EXPOSURE)


def _f_number(tags: Tags) -> float | None:
    """Return the f-number; an aperture value of 0 is what a manual lens leaves, not f/1."""
    known = _within(_number(tags.get(0x829D)), 0.0, _SMALLEST_F)
    return known or _within(_power(_number(tags.get(0x9202)) or None, 2**0.5), 0.0, _SMALLEST_F)


def _iso(tags: Tags) -> float | None:
    """Return the ISO speed; 65535 stands for "more than fits here", the true value being in a later tag."""
    first = _number(tags.get(0x8827))
    meant = _MEANT.get(int(_number(tags.get(0x8830)) or 0), (_INDEX, _SPEED, _OUTPUT))
    candidates = (None if first == 65535 else first, *(_number(tags.get(tag)) for tag in meant))
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


def _named(make: str, model: str) -> str | None:
    """Return make and model, the make once; None where there is no name."""
    make, model = ("" if text.casefold() in _NO_NAME or not any(map(str.isalnum, text)) else text for text in (make, model))
    if make and model.casefold().startswith(make.split()[0].casefold()):
        make = ""
    return f"{make} {model}".strip() or None


def _lens(tags: Tags) -> str | None:
    model = _text(tags.get(0xA434))
    return _named(_text(tags.get(0xA433)), model) if _named("", model) else None


def _without_placeholders(facts: Facts) -> Facts:
    """Return the facts without 1 s at f/1 where nothing is known of a lens: all of them APEX values of 0."""
    if (facts.exposure_s, facts.f_number, facts.lens, facts.focal_mm) == (1.0, 1.0, None, None):
        return facts._replace(exposure_s=None, f_number=None)
    return facts


def facts_of(tags: Tags) -> Facts:
    """Return what tags of the main and the Exif directory say."""
    facts = Facts(
        taken=_taken(tags),
        exposure_s=_exposure_s(tags),
        f_number=_f_number(tags),
        iso=_iso(tags),
        focal_mm=_within(_number(tags.get(0x920A)), 0.0, 100_000.0),
        camera=_named(_text(tags.get(0x010F)), _text(tags.get(0x0110))),
        serial=_named("", _text(tags.get(0xA431))),
        lens=_lens(tags),
    )
    return _without_placeholders(facts)


def facts_of_values(taken: datetime, lens: str, *, exposure_s: float, f_number: float, iso: float, focal_mm: float) -> Facts:
    """Return what plain values say that a library has read, 0 and a date of long ago being unknown; to three digits."""

    def rounded(value: float) -> float | None:
        return float(f"{value:.3g}") if isfinite(value) else None

    facts = Facts(
        taken=taken if taken.year >= _FIRST_YEAR else None,
        exposure_s=_within(rounded(exposure_s), 0.0, _LONGEST_EXPOSURE),
        f_number=_within(rounded(f_number), 0.0, _SMALLEST_F),
        iso=_within(rounded(iso), 1.0, _HIGHEST_ISO),
        focal_mm=_within(rounded(focal_mm), 0.0, 100_000.0),
        lens=_named("", lens),
    )
    return _without_placeholders(facts)
