"""Shots start where the camera, the picture size or the focal length changes, or after a long break; gaps are flagged."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from lapsebench.core.sequence import Fault, Frame
from lapsebench.core.shots import find_shots, gaps

START = datetime(2026, 2, 11, 21, 4, tzinfo=UTC)


def frames(count: int, every: float = 13.0) -> list[Frame]:
    return [
        Frame(Path(f"{i:04}.jpg"), START + timedelta(seconds=every * i), 10.0, 2.8, 1600.0, 14.0, "Velmar N2", "7", 960, 640)
        for i in range(count)
    ]


def test_one_run_is_one_shot() -> None:
    (shot,) = find_shots(frames(20))
    assert (shot.first, shot.last, shot.why) == (0, 19, "start")
    assert list(shot.trimmed) == list(range(20))


def test_each_kind_of_change_starts_a_shot() -> None:
    night = frames(50)
    for i, frame in enumerate(night):
        late = timedelta(hours=1) if i >= 40 else timedelta(0)
        assert frame.taken is not None
        night[i] = replace(
            frame,
            serial="8" if i >= 10 else "7",
            width=640 if i >= 20 else 960,
            focal_mm=24.0 if i >= 30 else 14.0,
            taken=frame.taken + late,
        )
    assert [(shot.first, shot.why) for shot in find_shots(night)] == [
        (0, "start"),
        (10, "another camera"),
        (20, "another picture size"),
        (30, "another focal length"),
        (40, "a long break"),
    ]


def test_an_odd_or_unreadable_frame_starts_no_shot() -> None:
    night = frames(20)
    night[5] = replace(night[5], width=10, faults=frozenset({Fault.ODD_SIZE}))
    night[9] = replace(night[9], width=0, height=0, faults=frozenset({Fault.UNREADABLE}))
    assert len(find_shots(night)) == 1


def test_no_frames_no_shots() -> None:
    assert find_shots([]) == ()


def test_a_gap_is_time_missing_beyond_the_exposure() -> None:
    night = frames(30)
    late = [replace(f, taken=f.taken + timedelta(minutes=4)) if f.taken and i >= 12 else f for i, f in enumerate(night)]
    assert gaps(late) == [12]


def test_a_longer_shutter_is_no_gap() -> None:
    night, clock = [], START
    for i in range(40):
        shutter = 1.0 if i < 20 else 15.0
        night.append(Frame(Path(f"{i}.jpg"), clock, shutter))
        clock += timedelta(seconds=shutter + 2.0)
    assert gaps(night) == []


def test_frames_without_times_have_no_gaps() -> None:
    assert gaps([Frame(Path("a.jpg"))] * 9) == []
