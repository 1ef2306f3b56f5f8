"""Shots start where the camera, the picture size or the focal length changes, or after a long break; gaps are flagged."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.sequence import Fault, Frame, Shot
from lapsebench.core.shots import find_shots, gaps, moved_frames, split_shot

START = datetime(2026, 2, 11, 21, 4, tzinfo=UTC)


def frames(count: int, every: float = 13.0) -> list[Frame]:
    return [
        Frame(
            Path(f"{i:04}.jpg"),
            START + timedelta(seconds=every * i),
            10.0,
            2.8,
            1600.0,
            14.0,
            "Velmar N2",
            "7",
            width=960,
            height=640,
        )
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


def scene(seed: int, count: int, *, lively: float = 0.0) -> NDArray[np.float32]:
    """Return tiles (count, 43, 64) of one view whose light changes, with a share of it dancing."""
    random = np.random.default_rng(seed)
    view = 0.02 * 2 ** random.normal(0, 1, (43, 64))
    tiles = [view * 2 ** random.normal(0, 0.7) * 2 ** (lively * random.normal(0, 1, view.shape)) for _ in range(count)]
    return np.array(tiles, np.float32)


def test_a_new_view_is_a_new_shot_and_a_new_exposure_is_not() -> None:
    views = np.concatenate([scene(1, 10), scene(2, 12), scene(3, 9)])
    assert moved_frames(views, np.ones(31, bool)) == [10, 22]


def test_a_spoilt_frame_or_a_dancing_sky_is_no_move() -> None:
    views = scene(1, 20)
    views[8] = scene(4, 1)[0]
    usable = np.ones(20, bool)
    assert moved_frames(views, usable) == []
    usable[8] = False
    assert moved_frames(views, usable) == []
    assert moved_frames(scene(1, 30, lively=1.5), np.ones(30, bool)) == []
    assert moved_frames(scene(1, 3), np.ones(3, bool)) == []


def test_a_cut_shot_keeps_its_in_and_out_points() -> None:
    first, second, third = split_shot(Shot(10, 39, "start", trim_in=12, trim_out=25), [20, 30], "moved")
    assert (first.first, first.last, first.trim_in, first.trim_out, first.why) == (10, 19, 12, 19, "start")
    assert (second.first, second.last, second.trim_in, second.trim_out, second.why) == (20, 29, 20, 25, "moved")
    assert (third.trim_in, third.trim_out, third.in_film) == (30, 39, False)
