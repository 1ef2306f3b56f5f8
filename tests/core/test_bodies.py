"""Offsets belong to camera bodies; times follow them and everything else stays."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lapsebench.core.bodies import (
    Body,
    bodies_of,
    body_names,
    by_clocks,
    offset_from,
    offset_s,
    offset_text,
    same_moment_s,
    taken_of,
    with_offset,
)
from lapsebench.core.sequence import Frame

VELMAR, ORSA = Body("Velmar N2", "11"), Body("Orsa T4", "7")
START = datetime(2026, 2, 11, 21, 0)


def frame(body: Body, taken: datetime | None, exposure_s: float | None = 10.0) -> Frame:
    return Frame(Path("F.jpg"), taken, exposure_s, camera=body.camera, serial=body.serial)


def test_only_the_frames_of_the_body_move() -> None:
    frames = [frame(VELMAR, START), frame(ORSA, START), frame(ORSA, None), Frame(Path("x.png"), START)]
    moved = by_clocks(frames, with_offset((), ORSA, -90.5))
    assert [each.taken for each in moved] == [START, START - timedelta(seconds=90.5), None, START]
    assert frames[1].taken == START


def test_an_offset_of_nothing_is_none() -> None:
    clocks = with_offset(with_offset((), VELMAR, 60), ORSA, 30)
    assert (offset_s(clocks, VELMAR), offset_s(clocks, ORSA), offset_s(clocks, None)) == (60, 30, 0)
    assert with_offset(with_offset(clocks, VELMAR, 0), ORSA, 0) == ()


@pytest.mark.parametrize("seconds", [4e7, float("nan"), float("inf")])
def test_an_offset_out_of_range_is_refused(seconds: float) -> None:
    with pytest.raises(ValueError, match="range"):
        with_offset((), VELMAR, seconds)


def test_the_calendar_ends_without_a_crash() -> None:
    last = frame(VELMAR, datetime.max)
    assert taken_of(last, with_offset((), VELMAR, 3600)) == datetime.max


def test_the_middles_of_both_exposures_are_at_one_moment() -> None:
    frames = [frame(VELMAR, START, 20.0), frame(ORSA, START - timedelta(hours=1), 4.0)]
    clocks = with_offset(with_offset((), VELMAR, 5), ORSA, 100)
    seconds = same_moment_s(frames, clocks, 0, 1)
    assert seconds == pytest.approx(3600 + 5 + 10 - 2)
    first, second = by_clocks(frames, with_offset(clocks, ORSA, seconds or 0))
    assert first.taken and second.taken
    assert first.taken + timedelta(seconds=10) == second.taken + timedelta(seconds=2)
    assert same_moment_s([frames[0], frame(ORSA, None)], clocks, 0, 1) is None


def test_clocks_with_and_without_a_zone_are_compared() -> None:
    zone = timezone(timedelta(hours=1))
    frames = [frame(VELMAR, START.replace(tzinfo=zone)), frame(ORSA, START)]
    assert same_moment_s(frames, (), 0, 1) == 0
    frames.append(frame(ORSA, START.replace(tzinfo=UTC)))
    assert same_moment_s(frames, (), 0, 1) == -3600


def test_bodies_alike_are_called_by_their_numbers() -> None:
    other = Body("Velmar N2", "12")
    assert bodies_of([frame(ORSA, None), frame(VELMAR, None), frame(ORSA, None)]) == [ORSA, VELMAR]
    names = body_names([VELMAR, other, ORSA])
    assert names == {VELMAR: "Velmar N2 (11)", other: "Velmar N2 (12)", ORSA: "Orsa T4"}


@given(st.integers(-316_224_000, 316_224_000))
def test_an_offset_reads_as_it_was_written(tenths: int) -> None:
    assert offset_from(offset_text(tenths / 10)) == pytest.approx(tenths / 10, abs=1e-6)


def test_how_offsets_are_written() -> None:
    assert [offset_text(seconds) for seconds in (0, -0.01, 3600, -12.5, 90061.25)] == [
        "+0:00:00", "+0:00:00", "+1:00:00", "−0:00:12.5", "+25:01:01.2",
    ]  # fmt: skip
    assert offset_from("1:00:00") == 3600
    assert offset_from(" -0:01:02,5 ") == -62.5


@pytest.mark.parametrize("text", ["", "1", "1:00", "1:60:00", "1:00:61", "one", "+-1:00:00", "99999:00:00"])
def test_what_is_no_offset_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"no clock offset|more than a year"):
        offset_from(text)
