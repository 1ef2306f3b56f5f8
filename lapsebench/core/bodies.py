"""Camera bodies and their clocks: what is added to the times of each, and when a frame was taken by that."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

from lapsebench.core.sequence import Frame

MOST_OFFSET_S = 366 * 86400.0
"""A clock can be set off by up to a year either way."""

_OFFSET = re.compile(r"(?P<sign>[-+−]?)(?P<h>[0-9]{1,5}):(?P<m>[0-5][0-9]):(?P<s>[0-5][0-9](?:[.,][0-9]+)?)")
_START = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Body:
    """One camera body: what the files name it, and its serial number where they tell it."""

    camera: str
    serial: str | None = None


@dataclass(frozen=True, slots=True)
class ClockOffset:
    """`seconds` to add to the times that a body's clock gave."""

    camera: str
    serial: str | None
    seconds: float

    @property
    def body(self) -> Body:
        """Whose clock it is."""
        return Body(self.camera, self.serial)


Clocks = tuple[ClockOffset, ...]


def offset_text(seconds: float) -> str:
    """Return an offset as it is read and typed, `+1:00:00` or `−0:00:12.5`, to a tenth of a second."""
    tenths = round(abs(seconds) * 10)
    whole, rest = divmod(tenths, 10)
    sign = "−" if seconds < 0 and tenths else "+"
    return f"{sign}{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}" + (f".{rest}" if rest else "")


def offset_from(text: str) -> float:
    """Return the seconds of an offset typed as hours, minutes and seconds. Raises ValueError."""
    found = _OFFSET.fullmatch(text.strip())
    if found is None:
        raise ValueError(f"{text!r} is no clock offset such as +1:00:00 or -0:00:12.5")
    hours, minutes, seconds = int(found["h"]), int(found["m"]), float(found["s"].replace(",", "."))
    offset = 3600 * hours + 60 * minutes + seconds
    if offset > MOST_OFFSET_S:
        raise ValueError(f"{text!r} is more than a year")
    return -offset if found["sign"] in ("-", "−") else offset


def body_of(frame: Frame) -> Body | None:
    """Return the body that took a frame; None where the file names no camera."""
    return Body(frame.camera, frame.serial) if frame.camera else None


def bodies_of(frames: Iterable[Frame]) -> list[Body]:
    """Return the bodies in the order in which their first frames come."""
    return list(dict.fromkeys(body for frame in frames if (body := body_of(frame))))


def body_names(bodies: Sequence[Body]) -> dict[Body, str]:
    """Return what to call each body: its camera, with the serial number where two are alike."""
    alike = Counter(body.camera for body in bodies)
    return {body: f"{body.camera} ({body.serial or '?'})" if alike[body.camera] > 1 else body.camera for body in bodies}


def offset_s(clocks: Clocks, body: Body | None) -> float:
    """Return the seconds added to the times of a body."""
    return next((clock.seconds for clock in clocks if clock.body == body), 0.0)


def with_offset(clocks: Clocks, body: Body, seconds: float) -> Clocks:
    """Return the clocks with one body's set to `seconds`, to a thousandth; none is kept for a clock that is right.

    Raises ValueError beyond `MOST_OFFSET_S`.
    """
    if not abs(seconds) <= MOST_OFFSET_S:
        raise ValueError(f"a clock offset of {seconds} s is out of its range")
    others = [clock for clock in clocks if clock.body != body]
    own = ClockOffset(body.camera, body.serial, round(seconds, 3))
    kept = [*others, own] if own.seconds else others
    return tuple(sorted(kept, key=lambda clock: (clock.camera, clock.serial or "")))


def taken_of(frame: Frame, clocks: Clocks) -> datetime | None:
    """Return when a frame's exposure began, its body's clock put right; `Frame.taken` stays what the file says."""
    seconds = offset_s(clocks, body_of(frame)) if clocks else 0.0
    if frame.taken is None or not seconds:
        return frame.taken
    try:
        return frame.taken + timedelta(seconds=seconds)
    except OverflowError:  # a clock at the far end of the calendar
        return frame.taken


def by_clocks(frames: Sequence[Frame], clocks: Clocks) -> tuple[Frame, ...]:
    """Return the frames with `taken` as `taken_of` tells it.

    Their order stays: shots of several cameras follow one another, and one offset moves all frames of a body alike.
    """
    if not clocks:
        return tuple(frames)
    return tuple(replace(frame, taken=taken_of(frame, clocks)) for frame in frames)


def same_moment_s(frames: Sequence[Frame], clocks: Clocks, here: int, there: int) -> float | None:
    """Return the offset of `there`'s body that puts the middles of both exposures at one moment; None where unknown.

    `here`, `there`: numbers of frames of different bodies; the clock of `here`'s stays as `clocks` has it.
    """
    middle = middle_of_exposure(frames, clocks)
    first, second = middle(frames[here]), middle(frames[there])
    if first is None or second is None:
        return None
    return offset_s(clocks, body_of(frames[there])) + first - second


def middle_of_exposure(frames: Sequence[Frame], clocks: Clocks) -> Callable[[Frame], float | None]:
    """Return a function frame -> middle of its exposure, seconds since 1970 by `clocks`, None where the time is unknown."""
    clock = clock_seconds(frames)

    def middle(frame: Frame) -> float | None:
        start = clock(frame)
        return None if start is None else start + offset_s(clocks, body_of(frame)) + (frame.exposure_s or 0.0) / 2

    return middle


def clock_seconds(frames: Sequence[Frame]) -> Callable[[Frame], float | None]:
    """Return a function frame -> seconds since 1970 by its file's time, or None where that is unknown.

    A time without a zone counts in the zone most frames of its camera name, else in the zone most frames name, else UTC.
    """
    zones: dict[str | None, Counter[timedelta]] = defaultdict(Counter)
    for frame in frames:
        if frame.taken and (offset := frame.taken.utcoffset()) is not None:
            zones[frame.camera][offset] += 1
    overall = sum(zones.values(), Counter())

    def seconds(frame: Frame) -> float | None:
        if frame.taken is None:
            return None
        if frame.taken.tzinfo is not None:
            return (frame.taken - _START).total_seconds()
        offset = (zones.get(frame.camera) or overall or Counter([timedelta()])).most_common(1)[0][0]
        return (frame.taken.replace(tzinfo=UTC) - _START - offset).total_seconds()

    return seconds
