"""Frame rates of film: those with names, as exact fractions, how they are written, and the timecode to go with one."""

from __future__ import annotations

from datetime import datetime
from fractions import Fraction

NAMED_RATES: dict[str, Fraction] = {
    "23.976": Fraction(24000, 1001),
    "24": Fraction(24),
    "25": Fraction(25),
    "29.97": Fraction(30000, 1001),
    "30": Fraction(30),
    "50": Fraction(50),
    "59.94": Fraction(60000, 1001),
    "60": Fraction(60),
}
"""The usual rates by the names they go by."""


def rate_of(text: str) -> Fraction:
    """Return the exact rate that `text` names: a usual one, a number or a fraction; ValueError if it is none above 0."""
    if text in NAMED_RATES:
        return NAMED_RATES[text]
    top, _, bottom = text.partition("/")
    try:
        rate = Fraction(top) / Fraction(bottom or 1)
    except ZeroDivisionError as error:
        raise ValueError(text) from error
    if rate <= 0:
        raise ValueError(text)
    return rate


def timecode(taken: datetime, fps: Fraction) -> str | None:
    """Return the time of day as HH:MM:SS:FF at a usual rate, counted without dropping (SMPTE ST 12-1); None at others."""
    if fps not in NAMED_RATES.values():
        return None
    frame = int(taken.microsecond * round(fps) / 1_000_000)
    return f"{taken:%H:%M:%S}:{frame:02}"
