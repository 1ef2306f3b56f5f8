"""The project is kept in a file: saved, reopened with every decision, saved again by itself, and not lost on closing."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from time import sleep

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PySide6.QtWidgets import QFileDialog

from lapsebench.core.filmlight import LightSettings, Peg
from lapsebench.core.project import Project
from lapsebench.gui import keeping
from lapsebench.gui.commands import change_light, toggle_frame, trim_shot
from lapsebench.gui.jobs import Job
from lapsebench.gui.window import MainWindow
from lapsebench.io.projectfile import load_project, save_project

Until = Callable[[Callable[[], bool]], None]


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return the file that the save dialog answers with."""
    path = tmp_path / "my night.lapsebench"
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_: (str(path.with_suffix("")), ""))
    return path


def test_a_saved_project_reopens_with_every_decision(surveyed: MainWindow, file: Path, until: Until) -> None:
    session = surveyed.session
    session.edit("", change_light(sky_kept=0.25, pegs=(Peg(4, -3.0),)))
    session.edit("", trim_shot(0, 2, 9))
    session.edit("", toggle_frame(5))
    assert surveyed.isWindowModified()
    surveyed.menus.actions["save"].trigger()
    until(lambda: not surveyed.isWindowModified())
    assert surveyed.windowTitle().startswith("my night")
    kept = session.project
    surveyed.open_paths([file])
    until(lambda: surveyed.session.film_light is not None and not surveyed.opener.busy)
    assert session.project.light == kept.light
    assert session.project.shots == kept.shots
    assert session.project.left_out == kept.left_out
    assert surveyed.settings.recent()[0] == file


def test_edits_after_the_first_save_are_kept_by_themselves(surveyed: MainWindow, file: Path, until: Until) -> None:
    surveyed.menus.actions["save"].trigger()
    until(file.exists)
    surveyed.session.edit("", change_light(sky_kept=0.1))
    until(lambda: load_project(file).light.sky_kept == 0.1)
    until(lambda: not surveyed.isWindowModified())


@pytest.fixture
def slow_drive(monkeypatch: pytest.MonkeyPatch) -> Iterator[threading.Event]:
    """Let every save wait until the drive is awake, which the event says."""
    awake = threading.Event()

    def save(project: Project, path: Path) -> None:
        assert awake.wait(20)
        save_project(project, path)

    monkeypatch.setattr(keeping, "save_project", save)
    yield awake
    awake.set()


def test_the_window_goes_on_while_a_slow_drive_is_saved_to(
    surveyed: MainWindow, file: Path, slow_drive: threading.Event, until: Until
) -> None:
    surveyed.session.edit("", change_light(sky_kept=0.1))
    surveyed.menus.actions["save"].trigger()
    surveyed.session.edit("", change_light(sky_kept=0.2))
    assert surveyed.isWindowModified()
    assert not file.exists()
    slow_drive.set()
    until(file.exists)
    assert load_project(file).light.sky_kept == 0.1
    until(lambda: load_project(file).light.sky_kept == 0.2)
    until(lambda: not surveyed.isWindowModified())


def test_closing_while_saving_waits_and_leaves_the_last_state(
    surveyed: MainWindow, file: Path, slow_drive: threading.Event, until: Until
) -> None:
    surveyed.menus.actions["save"].trigger()
    slow_drive.set()
    until(file.exists)
    slow_drive.clear()
    surveyed.session.edit("", change_light(sky_kept=0.1))
    surveyed.menus.actions["save"].trigger()
    surveyed.session.edit("", change_light(sky_kept=0.2))
    threading.Timer(0.2, slow_drive.set).start()
    assert surveyed.close()
    assert load_project(file).light.sky_kept == 0.2
    assert [path for path in file.parent.iterdir() if path.suffix == ".part"] == []


def test_closing_at_once_saves_even_where_every_thread_is_busy(surveyed: MainWindow, file: Path) -> None:
    def busy(job: Job) -> None:
        while True:
            job.tick(0, 1)
            sleep(0.01)

    for _ in range(8):
        surveyed.jobs.start(Job("", busy), quiet=True)
    surveyed.menus.actions["save"].trigger()
    assert surveyed.close()
    assert len(load_project(file).frames) == 12


def test_a_first_save_that_fails_while_closing_keeps_the_window(
    surveyed: MainWindow, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_: (str(tmp_path / "gone" / "a.lapsebench"), ""))
    surveyed.menus.actions["save"].trigger()
    assert not surveyed.close()
    assert any("can't be written" in message.what for message in surveyed.messages.messages)


def test_a_night_opened_while_saving_is_not_saved_over_the_one_before(
    surveyed: MainWindow, file: Path, tmp_path: Path, slow_drive: threading.Event, until: Until
) -> None:
    other = tmp_path / "other"
    other.mkdir()
    for frame in surveyed.session.project.frames[:3]:
        shutil.copy(frame.path, other)
    surveyed.menus.actions["save"].trigger()
    threading.Timer(0.2, slow_drive.set).start()
    surveyed.open_paths([other])
    until(lambda: len(surveyed.session.project.frames) == 3 and not surveyed.opener.busy)
    assert surveyed.keeper.path is None
    surveyed.session.edit("", change_light(sky_kept=0.3))
    assert not surveyed.close(), "nothing holds the other night's edits"
    assert len(load_project(file).frames) == 12


@given(st.permutations(range(1, 5)))
def test_an_older_state_never_replaces_a_newer_one(order: list[int]) -> None:
    """Threads may come to write in any order."""
    with TemporaryDirectory() as folder:
        file, writer = Path(folder) / "a.lapsebench", keeping.Writer()
        for turn in order:
            writer.write(Project(light=LightSettings(sky_kept=turn / 10)), file, turn)
        assert load_project(file).light.sky_kept == 0.4


def test_closing_asks_once_before_unsaved_edits_are_lost(surveyed: MainWindow) -> None:
    surveyed.session.edit("", change_light(sky_kept=0.1))
    assert not surveyed.close()
    assert surveyed.isVisible()
    assert "not saved" in surveyed.messages.messages[0].what
    assert surveyed.close()


def test_a_file_that_can_not_be_written_is_said(
    surveyed: MainWindow, tmp_path: Path, until: Until, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_: (str(tmp_path / "gone" / "a.lapsebench"), ""))
    surveyed.session.edit("", change_light(sky_kept=0.1))
    surveyed.menus.actions["save"].trigger()
    until(lambda: bool(surveyed.messages.messages))
    assert "can't be written" in surveyed.messages.messages[0].what
    assert surveyed.isWindowModified()


def test_a_damaged_project_is_said(window: MainWindow, tmp_path: Path, until: Until) -> None:
    path = tmp_path / "broken.lapsebench"
    path.write_text("{")
    window.open_paths([path])
    until(lambda: bool(window.messages.messages))
    assert "no lapsebench project" in window.messages.messages[0].what
