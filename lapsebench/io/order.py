"""The order in which stills were shot: by their clocks, and by file names whose numbers count as numbers."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from itertools import groupby, pairwise
from pathlib import Path

from lapsebench.core.bodies import clock_seconds
from lapsebench.core.sequence import Frame

_DIGITS = re.compile(r"([0-9]+)")

_LEAST_OF_A_BODY = 8  # frames: a few stray ones of another camera are no second run

NaturalKey = tuple[tuple[bool, int, str], ...]


def natural_key(text: str) -> NaturalKey:
    """Return a sorting key that ignores case and takes numbers as numbers: IMG_2 before img_10."""
    parts = (part for part in _DIGITS.split(text.casefold()) if part)
    return tuple((True, int(part), part) if part[0] in "0123456789" else (False, 0, part) for part in parts)


def counter_of(stem: str) -> tuple[str, str, str] | None:
    """Return what stands before the last number of a file name, that number, and what follows; None without one."""
    parts = _DIGITS.split(stem.casefold())
    return ("".join(parts[:-2]), parts[-2], parts[-1]) if len(parts) > 1 else None


def _roll_over(numbers: Iterable[int], width: int) -> tuple[int, int] | None:
    """Return (last number after the roll-over, numbers in a round) of a counter that went from 9999 to 0001, else None."""
    ordered = sorted(set(numbers))
    digits = len(str(ordered[-1]))
    round_ = 10**digits
    near = min(20, round_ // 50)
    if digits < 3 or (digits < 4 and digits != width) or ordered[0] > near or ordered[-1] < round_ - near:
        return None
    hole, cut = max((after - before, before) for before, after in pairwise(ordered))
    return (cut, round_) if hole >= round_ // 10 else None


def file_order(names: Sequence[str]) -> list[str]:
    """Return the file names of one folder in natural order, a counter that rolled over (9999, 0001) carried on."""
    counters = {name: counter for name in names if (counter := counter_of(Path(name).stem))}
    series = defaultdict(list)
    for before, digits, after in counters.values():
        series[before, len(digits), after].append(int(digits))
    rolled = {key: found for key, numbers in series.items() if (found := _roll_over(numbers, key[1]))}

    def key(name: str) -> tuple[NaturalKey, NaturalKey, str]:
        stem, suffix = Path(name).stem, Path(name).suffix
        if name in counters:
            before, digits, after = counters[name]
            cut, round_ = rolled.get((before, len(digits), after), (-1, 0))
            if int(digits) <= cut:
                stem = f"{before}{int(digits) + round_}{after}"
        return natural_key(stem), natural_key(suffix), name

    return sorted(names, key=key)


def _series(frame: Frame) -> tuple[Path, str]:
    counter = counter_of(frame.path.stem)
    return frame.path.parent, counter[0] if counter else ""


def _filled(times: list[float | None], groups: Iterable[object]) -> list[float | None]:
    """Return times with unknown ones taken from the frame before in the same run of groups, at its start from the next."""
    filled: list[float | None] = []
    for _, run in groupby(zip(groups, times, strict=True), key=lambda pair: pair[0]):
        block = [time for _, time in run]
        last = next((time for time in block if time is not None), None)
        for time in block:
            last = last if time is None else time
            filled.append(last)
    return filled


def shooting_order(frames: list[Frame]) -> tuple[list[Frame], list[str]]:
    """Return frames (given in file order) in shooting order, and notes for the user.

    A frame without a time stays beside its neighbour by name.
    """
    clock = clock_seconds(frames)
    times = [clock(frame) for frame in frames]
    readable = [time for frame, time in zip(frames, times, strict=True) if frame.readable]
    if len(readable) > 1 and len(set(readable)) == 1:
        why = "No capture times" if readable[0] is None else "All capture times are the same"
        return frames, [f"{why}: frames are in the order of their file names."]
    filled = _filled(times, [_series(frame) for frame in frames])
    filled = _filled(filled, [frame.path.parent for frame in frames])
    keys = sorted((float("inf") if time is None else time, i) for i, time in enumerate(filled))
    timeless = readable.count(None)
    notes = [f"{timeless} of {len(frames)} frames without a capture time: placed by file name."] if timeless else []
    ordered, several = _one_body_after_another([frames[i] for _, i in keys])
    if several:
        notes.append(f"{several} cameras at the same time: their frames follow one another as shots of their own.")
    return ordered, notes if len(frames) > 1 else []


def _one_body_after_another(frames: list[Frame]) -> tuple[list[Frame], int]:
    """Return frames (in order of time) grouped by camera where several took turns, and the number of cameras, else 0.

    Frames that name no camera stay with the frame before them.
    """
    bodies: list[tuple[str | None, str | None] | None] = []
    last = next(((frame.camera, frame.serial) for frame in frames if frame.camera), None)
    for frame in frames:
        last = (frame.camera, frame.serial) if frame.camera else last
        bodies.append(last)
    runs = sum(before != after for before, after in pairwise(bodies)) + 1
    first_seen = {body: place for place, body in reversed(list(enumerate(bodies)))}
    if runs <= len(first_seen) or min(Counter(bodies).values()) < _LEAST_OF_A_BODY:
        return frames, 0
    by_body = sorted(range(len(frames)), key=lambda i: first_seen[bodies[i]])
    return [frames[i] for i in by_body], len(first_seen)
