"""Clocks that change by an hour in the night: frames stay in the order shot, without a false gap, and it is said."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_files import exif_block, saved, scene

from lapsebench.core.sequence import Frame
from lapsebench.io.clockchange import steady_clock
from lapsebench.io.scan import gather

HOUR = timedelta(hours=1)


def night(start: datetime, steps_s: Sequence[float], first: int = 100) -> list[Frame]:
    """Return frames whose clock runs on by these steps, in file order."""
    frames, taken = [], start
    for number, step in enumerate((0.0, *steps_s)):
        taken += timedelta(seconds=step)
        frames.append(Frame(Path(f"/n/VN_{first + number:04}.jpg"), taken=taken, camera="Velmar N2"))
    return frames


def changed(frames: list[Frame], at: int, by: timedelta) -> list[Frame]:
    """Return frames whose clock was changed before frame `at`."""
    return [replace(f, taken=f.taken + by) if i >= at and f.taken else f for i, f in enumerate(frames)]


def steps(frames: Sequence[Frame]) -> list[float]:
    times = [frame.taken for frame in frames if frame.taken]
    return [(after - before).total_seconds() for before, after in pairwise(times)]


@given(st.integers(2, 300), st.integers(5, 60), st.floats(0, 59))
def test_an_hour_back_is_taken_out(interval: int, before: int, offset: float) -> None:
    start = datetime(2026, 10, 25, 3) - timedelta(seconds=before * interval - min(offset, interval - 1))
    true = night(start, [float(interval)] * 80)
    steadied, notes = steady_clock(changed(true, before, -HOUR))
    assert steadied == true
    assert notes == [f"The camera's clock goes back by an hour at {true[before].path.name}: later times count on."]


@given(st.integers(2, 300), st.integers(5, 60), st.floats(0, 59))
def test_an_hour_forward_is_no_gap(interval: int, before: int, offset: float) -> None:
    start = datetime(2026, 3, 29, 2) - timedelta(seconds=before * interval - min(offset, interval - 1))
    true = night(start, [float(interval)] * 80)
    steadied, notes = steady_clock(changed(true, before, HOUR))
    assert steadied == true
    assert len(notes) == 1
    assert "forward" in notes[0]


@pytest.mark.parametrize(
    "steps_s",
    [
        [10.0] * 20 + [3610.0] + [10.0] * 20,  # a pause of an hour that crosses no full hour
        [10.0] * 20 + [3900.0] + [10.0] * 20,
        [10.0] * 20 + [1800.0] + [10.0] * 20,
        [10.0] * 20 + [7210.0] + [10.0] * 20,
        [3610.0] * 40,
        [10.0] * 20 + [-1800.0] + [10.0] * 20,
        [10.0, -3590.0, 10.0],  # too little around to tell
        [0.0] * 30,
    ],
)
def test_other_pauses_and_jumps_stay(steps_s: list[float]) -> None:
    frames = night(datetime(2026, 2, 11, 21, 5), steps_s)
    assert steady_clock(frames) == (frames, [])


def test_a_slow_night_may_change_settings_across_the_hour() -> None:
    true = night(datetime(2026, 10, 25, 2, 50), [12.0] * 45 + [22.0] * 30)
    steadied, notes = steady_clock(changed(true, 49, -HOUR))
    assert steadied == true
    assert len(notes) == 1


def test_frames_that_name_their_zone_or_no_number_are_let_be() -> None:
    plain = changed(night(datetime(2026, 10, 25, 2, 50), [10.0] * 80), 40, -HOUR)
    zoned = [replace(f, taken=f.taken.astimezone()) for f in plain if f.taken]
    unnumbered = [replace(f, path=Path(f"/n/{'x' * (i + 1)}.jpg")) for i, f in enumerate(plain)]
    assert steady_clock(zoned) == (zoned, [])
    assert steady_clock(unnumbered) == (unnumbered, [])


def test_a_gathered_night_is_in_the_order_shot(tmp_path: Path) -> None:
    for number in range(30):
        clock = datetime(2026, 10, 25, 2, 57, 0) + timedelta(seconds=12 * number)
        clock -= HOUR if clock >= datetime(2026, 10, 25, 3) else timedelta()
        exif = exif_block({0x9003: f"{clock:%Y:%m:%d %H:%M:%S}", 0x9011: "", 0x9291: ""})
        (tmp_path / f"VN2_{(9990 + number - 1) % 9999 + 1:04}.JPG").write_bytes(saved(scene(24, 36, number), "JPEG", exif))
    gathered = gather([tmp_path])
    assert [f.path.name for f in gathered.frames[:12]] == [
        *(f"VN2_{n}.JPG" for n in range(9990, 10_000)),
        *("VN2_0001.JPG", "VN2_0002.JPG"),
    ]
    assert steps(gathered.frames) == [12.0] * 29
    assert any("goes back by an hour at VN2_0006.JPG" in note for note in gathered.notes)
