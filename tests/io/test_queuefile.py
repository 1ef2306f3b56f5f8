"""The line of waiting films on disk: kept whole, in order, past damage, and each for one program at a time."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lapsebench.core.project import Project
from lapsebench.errors import LapsebenchError, OutputError
from lapsebench.io import queuefile
from lapsebench.io.queuefile import Entry
from lapsebench.services.survey import gather

HOLD = """
import sys, time
from lapsebench.io import queuefile
entry, = queuefile.entries()[0]
with queuefile.held(entry) as mine:
    print("held" if mine else "refused", flush=True)
    time.sleep(60)
"""


def put(name: str, project: Project | None = None) -> Entry:
    path = Path(tempfile.gettempdir()).absolute() / name
    return queuefile.add(project or Project(), path, overwrite=False, title=name, frames=12, size=(1920, 1080))


def titles() -> list[str]:
    return [entry.title for entry in queuefile.entries()[0]]


def record_of(entry: Entry) -> Path:
    return queuefile.queue_folder() / entry.key / "film.json"


@contextmanager
def another_program_makes_it() -> Iterator[subprocess.Popen[str]]:
    """Start a program that holds the only film of the line, and end it."""
    with subprocess.Popen([sys.executable, "-c", HOLD], stdout=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        assert child.stdout.readline().strip() == "held"
        yield child
        child.kill()


def test_a_film_comes_back_as_it_was_put_in(make_frames: Callable[..., Path]) -> None:
    folder = make_frames()
    project, _ = gather([folder])
    project = replace(project, film=replace(project.film, quality=33), left_out=frozenset({2}))
    entry = put("one.mp4", project)
    assert queuefile.entries() == ((entry,), ())
    assert not entry.failed
    assert queuefile.project_of(entry) == project


def test_films_wait_in_the_order_they_were_put_in_and_can_be_moved() -> None:
    first, _, third = put("a.mp4"), put("b.mp4"), put("c.mp4")
    assert titles() == ["a.mp4", "b.mp4", "c.mp4"]
    queuefile.move(third.key, -1)
    assert titles() == ["a.mp4", "c.mp4", "b.mp4"]
    queuefile.move(first.key, 5)
    assert titles() == ["c.mp4", "b.mp4", "a.mp4"]
    put("d.mp4")
    assert titles() == ["c.mp4", "b.mp4", "a.mp4", "d.mp4"]
    queuefile.remove(third.key)
    assert titles() == ["b.mp4", "a.mp4", "d.mp4"]
    assert not list(queuefile.queue_folder().glob(f"{third.key}*"))


def test_without_its_order_the_line_goes_by_time() -> None:
    for name in "abc":
        put(name)
    (queuefile.queue_folder() / "order.json").write_text("{", encoding="utf-8")
    assert titles() == ["a", "b", "c"]


@pytest.mark.parametrize(
    "damage",
    [
        {"output": "relative.mp4"},
        {"size": [1]},
        {"size": None},
        {"added": "yesterday"},
        {"added": "2026-02-11T21:04:00"},
        {"frames": "many"},
        {"film": "no format"},
        {"format": "lapsebench.project"},
    ],
    ids=str,
)
def test_a_damaged_film_is_taken_away_with_a_word_and_the_others_stay(damage: dict[str, object]) -> None:
    put("good.mp4")
    bad = put("bad.mp4")
    record = json.loads(record_of(bad).read_text(encoding="utf-8"))
    record_of(bad).write_text(json.dumps(record | damage), encoding="utf-8")
    found, words = queuefile.entries()
    assert [entry.title for entry in found] == ["good.mp4"]
    assert words == ("A waiting film was damaged and is taken out of the line.",)
    assert queuefile.entries() == (found, ())


@given(st.binary(max_size=200))
def test_any_bytes_for_a_record_are_no_crash(data: bytes) -> None:
    entry = put("a.mp4")
    record_of(entry).write_bytes(data)
    found, words = queuefile.entries()
    assert not found
    assert words


def test_a_film_without_its_project_is_taken_away() -> None:
    entry = put("a.mp4")
    (queuefile.queue_folder() / entry.key / "film.lapsebench").unlink()
    assert len(queuefile.entries()[1]) == 1
    assert not record_of(entry).exists()


def test_a_film_of_a_newer_program_stays_where_it_is() -> None:
    entry = put("a.mp4")
    record = json.loads(record_of(entry).read_text(encoding="utf-8"))
    record_of(entry).write_text(json.dumps(record | {"version": 99}), encoding="utf-8")
    found, (words,) = queuefile.entries()
    assert not found
    assert "newer" in words
    assert record_of(entry).exists()


def test_what_was_never_wholly_put_in_goes_after_an_hour() -> None:
    entry = put("a.mp4")
    record_of(entry).unlink()
    assert queuefile.entries() == ((), ())
    folder = queuefile.queue_folder() / entry.key
    assert folder.exists()
    before = time.time() - 4000
    os.utime(folder, (before, before))
    queuefile.entries()
    assert not folder.exists()


def test_a_folder_that_can_not_be_kept_is_said(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    monkeypatch.setenv("LAPSEBENCH_CACHE", str(tmp_path / "file"))
    with pytest.raises(OutputError, match="No film can wait"):
        put("a.mp4")
    assert queuefile.entries() == ((), ())


def test_a_full_disk_leaves_nothing_in_line(monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_args: object) -> int:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(Path, "write_bytes", full)
        with pytest.raises(LapsebenchError, match="full"):
            put("a.mp4")
    assert not list(queuefile.queue_folder().glob("film-*"))


def test_a_film_is_for_one_at_a_time() -> None:
    entry = put("a.mp4")
    with queuefile.held(entry) as mine:
        assert mine == entry
        assert queuefile.is_being_made(entry)
        with queuefile.held(entry) as other:
            assert other is None
    assert not queuefile.is_being_made(entry)


def test_another_programs_claim_holds_until_that_program_is_dead() -> None:
    entry = put("a.mp4")
    with another_program_makes_it() as child:
        assert queuefile.is_being_made(entry)
        with queuefile.held(entry) as mine:
            assert mine is None
        child.kill()
        child.wait(20)
        assert not queuefile.is_being_made(entry)
        with queuefile.held(entry) as mine:
            assert mine == entry


def test_a_film_that_was_taken_out_is_not_made() -> None:
    entry = put("a.mp4")
    queuefile.remove(entry.key)
    with queuefile.held(entry) as mine:
        assert mine is None
    assert not list(queuefile.queue_folder().glob("film-*"))
