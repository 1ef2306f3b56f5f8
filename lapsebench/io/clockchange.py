"""Camera clocks that were set forward or back by an hour in the night, as at the ends of daylight saving.

Where frames name no zone their file names count on, and the clock alone jumps: such a jump is taken out of the times after
it, so that they go on as they began. A forward jump must besides be one of exactly an hour, over a full hour, in an
otherwise regular run; a pause that looks so by chance comes once in some thousands.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import accumulate, pairwise
from statistics import median

from lapsebench.core.sequence import Frame
from lapsebench.io.order import counter_of

_START = datetime(1970, 1, 1)
_HOUR = 3600.0
_AROUND = 6  # intervals looked at on either side
_LEAST_AROUND = 3
_SLACK_S = 2.0  # clocks without fractions err by a second at either end


def _runs(frames: Sequence[Frame]) -> list[list[int]]:
    """Return numbers of readable frames without a zone, in file order, by folder, camera and what their names begin with."""
    runs: dict[object, list[int]] = defaultdict(list)
    for i, frame in enumerate(frames):
        counter = counter_of(frame.path.stem)
        if frame.readable and frame.taken and frame.taken.tzinfo is None and counter:
            runs[frame.path.parent, frame.camera, frame.serial, counter[0]].append(i)
    return list(runs.values())


def _jump(times: Sequence[float], steps: Sequence[float], place: int) -> float:
    """Return the hour, in seconds with its sign, that the clock jumped by in the step at `place`; 0 if it did not."""
    if 0 <= steps[place] < _HOUR - _SLACK_S:
        return 0.0
    before = steps[max(place - _AROUND, 0) : place]
    after = steps[place + 1 : place + 1 + _AROUND]
    if min(len(before), len(after)) < _LEAST_AROUND:
        return 0.0
    usual = median((*before, *after))
    if not 0 < usual < _HOUR / 4:
        return 0.0
    if steps[place] < 0:
        left = steps[place] + _HOUR
        return -_HOUR if -_SLACK_S <= left <= 3 * usual + _SLACK_S and min(*before, *after) >= 0 else 0.0
    left = steps[place] - _HOUR
    regular = all(abs(step - usual) <= max(_SLACK_S, 0.2 * usual) for step in (*before, *after))
    over_an_hour = (times[place] + left) // _HOUR > times[place] // _HOUR
    return _HOUR if regular and over_an_hour and abs(left - usual) <= max(_SLACK_S, 0.2 * usual) else 0.0


def _taken_out(moments: Sequence[datetime]) -> list[float]:
    """Return the seconds to take from each time of one run for the clock's jumps before it."""
    times = [(moment - _START).total_seconds() for moment in moments]
    steps = [after - before for before, after in pairwise(times)]
    return list(accumulate((_jump(times, steps, place) for place in range(len(steps))), initial=0.0))


def steady_clock(frames: Sequence[Frame]) -> tuple[list[Frame], list[str]]:
    """Return frames (given in file order) with clock changes of an hour taken out of `taken`, and notes for the user."""
    steadied, notes = list(frames), []
    for run in _runs(frames):
        known = [(i, taken) for i in run if (taken := frames[i].taken)]
        shifts = _taken_out([taken for _, taken in known])
        for (i, taken), before, shift in zip(known, [0.0, *shifts], shifts, strict=False):
            if shift:
                steadied[i] = replace(frames[i], taken=taken - timedelta(seconds=shift))
            if shift != before:
                way = "forward" if shift > before else "back"
                notes.append(f"The camera's clock goes {way} by an hour at {frames[i].path.name}: later times count on.")
    return steadied, notes
