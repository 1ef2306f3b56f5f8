"""Camera exposure in stops, with the nominal marks on the dial resolved to the true ones.

Marks on a dial are rounded names: 15 s is exposed as 2^4 s, f/11 is 2^3.5. The differences reach 0.09 stop and would show
as steps in a film. Sources: Exif 2.32 (CIPA DC-008) Annex C for APEX; the third-stop series t = 2^(k/3), N = 2^(k/6),
S = 100 * 2^(k/3) is common practice, no source.
"""

from __future__ import annotations

from functools import lru_cache
from math import isfinite, log2
from typing import Literal

Marks = Literal["third", "half"]

_TIMES_THIRD = (
    "30 25 20 15 13 10 8 6 5 4 3.2 2.5 2 1.6 1.3 1 0.8 0.6 0.5 0.4 0.3 1/4 1/5 1/6 1/8 1/10 1/13 1/15 1/20 1/25 1/30 1/40"
    " 1/50 1/60 1/80 1/100 1/125 1/160 1/200 1/250 1/320 1/400 1/500 1/640 1/800 1/1000 1/1250 1/1600 1/2000 1/2500 1/3200"
    " 1/4000 1/5000 1/6400 1/8000"
)
_TIMES_HALF = (
    "30 20 15 10 8 6 4 3 2 1.5 1 0.7 0.5 0.3 1/4 1/6 1/8 1/10 1/15 1/20 1/30 1/45 1/60 1/90 1/125 1/180 1/250 1/350 1/500"
    " 1/750 1/1000 1/1500 1/2000 1/3000 1/4000 1/6000 1/8000"
)
_STOPS_THIRD = "1 1.1 1.2 1.4 1.6 1.8 2 2.2 2.5 2.8 3.2 3.5 4 4.5 5 5.6 6.3 7.1 8 9 10 11 13 14 16 18 20 22 25 29 32"
_STOPS_HALF = "1 1.2 1.4 1.7 2 2.4 2.8 3.3 4 4.8 5.6 6.7 8 9.5 11 13 16 19 22 27 32"


def _value(text: str) -> float:
    top, _, bottom = text.partition("/")
    return float(top) / float(bottom or 1)


def _series(names: str, first_ev: float, step: float) -> tuple[tuple[float, float], ...]:
    """Pair each nominal name with its true stop value, counted from the first name."""
    return tuple((_value(name), first_ev + i * step) for i, name in enumerate(names.split()))


_TIME_MARKS: dict[Marks, tuple[tuple[float, float], ...]] = {
    "third": _series(_TIMES_THIRD, 5.0, -1 / 3),
    "half": _series(_TIMES_HALF, 5.0, -1 / 2),
}
_F_MARKS: dict[Marks, tuple[tuple[float, float], ...]] = {
    "third": _series(_STOPS_THIRD, 0.0, 1 / 3),
    "half": _series(_STOPS_HALF, 0.0, 1 / 2),
}
_NEAR = 0.012  # a nominal mark written as a rational or a short decimal is this close (relative) to its name


def _true_ev(value: float, marks: tuple[tuple[float, float], ...]) -> float | None:
    """Return the true stop value of the nominal mark nearest to `value`, None where it is no mark."""
    name, ev = min(marks, key=lambda mark: abs(log2(mark[0] / value)))
    return ev if abs(name / value - 1) <= _NEAR else None


def time_ev(exposure_s: float, marks: Marks = "third") -> float:
    """Return log2 of the exposure time in seconds, at its true mark where it is a mark of the dial."""
    ev = _true_ev(exposure_s, _TIME_MARKS[marks])
    if ev is not None:
        return ev
    whole = round(log2(exposure_s))  # bulb timers count whole doublings: 60 s, 120 s
    if exposure_s > 31 and abs(exposure_s / (2.0**whole * 0.9375) - 1) <= _NEAR:
        return float(whole)
    return log2(exposure_s)


def aperture_ev(f_number: float, marks: Marks = "third") -> float:
    """Return 2 log2 N (the APEX Av) at its true mark. f/1.2 is 2^(1/4) on either scale: the half-stop mark."""
    if marks == "third" and abs(f_number / 1.2 - 1) <= _NEAR:
        marks = "half"
    ev = _true_ev(f_number, _F_MARKS[marks])
    return 2 * log2(f_number) if ev is None else ev


def speed_ev(iso: float) -> float:
    """Return log2(S / 100) at the nearest third- or half-stop mark where within 1.2 %."""
    raw = log2(iso / 100)
    for step in (3, 2):
        snapped = round(raw * step) / step
        if abs(2 ** (snapped - raw) - 1) <= 0.02:
            return snapped
    return raw


@lru_cache(maxsize=4096)
def exposure_ev(
    exposure_s: float | None, f_number: float | None, iso: float | None, *, marks: Marks = "third"
) -> float | None:
    """Return log2(t * S / 100 / N^2) in stops at true marks; None where t or S is unknown.

    An unknown f-number (manual lens) counts as f/1: it is one constant of the shot.
    """
    if exposure_s is None or iso is None:
        return None
    if not all(isfinite(v) and v > 0 for v in (exposure_s, iso, f_number or 1.0)):
        return None
    return time_ev(exposure_s, marks) + speed_ev(iso) - aperture_ev(f_number or 1.0, marks)


def guess_marks(times: list[float]) -> Marks:
    """Return the dial's step from the exposure times (s) used: half only where a mark exists on no third-stop dial."""
    half_only = [t for t in times if _true_ev(t, _TIME_MARKS["half"]) is not None]
    return "half" if any(_true_ev(t, _TIME_MARKS["third"]) is None for t in half_only) else "third"


def shutter_text(exposure_s: float) -> str:
    """Return the time as a photographer writes it: `10 s`, `0.4 s`, `1/60 s`."""
    if exposure_s >= 0.29:
        return f"{exposure_s:.3g} s"
    return f"1/{1 / exposure_s:.0f} s"
