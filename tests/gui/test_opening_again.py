"""Opening another night while this one has edits: they are saved, or the user is asked, and never end in a wrong file."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from PySide6.QtWidgets import QFileDialog

from lapsebench.core.progress import Tick
from lapsebench.gui.commands import change_light
from lapsebench.gui.problems import Message
from lapsebench.gui.window import MainWindow
from lapsebench.io.projectfile import load_project
from lapsebench.services import survey as surveying

Until = Callable[[Callable[[], bool]], None]


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return the file that the save dialog answers with."""
    path = tmp_path / "first.lapsebench"
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_: (str(path), ""))
    return path


@pytest.fixture
def other(night: Path, tmp_path: Path) -> Path:
    """Return a folder of another night, of six frames."""
    folder = tmp_path / "other"
    folder.mkdir()
    for path in sorted(night.iterdir())[:6]:
        shutil.copy(path, folder)
    return folder


def edit(window: MainWindow, sky_kept: float = 0.1) -> None:
    """Set something for the night."""
    window.session.edit("sky", change_light(sky_kept=sky_kept))


def opened(window: MainWindow, count: int) -> Callable[[], bool]:
    """Return whether a night of `count` frames is open and surveyed."""
    return lambda: len(window.session.project.frames) == count and window.session.survey is not None


def question(window: MainWindow) -> Message:
    """Return the question that is asked."""
    assert [m.what for m in window.messages.messages] == ["What you set for this night is not saved."]
    return window.messages.messages[0]


def press(window: MainWindow, text: str) -> None:
    """Press a button of the question."""
    dict(question(window).buttons)[text]()


def test_unsaved_edits_are_asked_about_and_may_be_let_go(surveyed: MainWindow, other: Path, until: Until) -> None:
    edit(surveyed)
    surveyed.open_paths([other])
    assert not surveyed.opener.busy
    assert [text for text, _ in question(surveyed).buttons] == ["Save the project…", "Open anyway"]
    press(surveyed, "Open anyway")
    until(opened(surveyed, 6))
    assert not surveyed.keeper.unsaved


def test_the_demo_asks_too(surveyed: MainWindow) -> None:
    edit(surveyed)
    surveyed.open_demo()
    assert not surveyed.opener.busy
    question(surveyed)


def test_saving_goes_on_to_the_other_night(surveyed: MainWindow, other: Path, file: Path, until: Until) -> None:
    edit(surveyed)
    surveyed.open_paths([other])
    press(surveyed, "Save the project…")
    until(opened(surveyed, 6))
    assert load_project(file).light.sky_kept == 0.1
    assert surveyed.keeper.path is None


def test_not_saving_after_all_leaves_the_night_open(
    surveyed: MainWindow, other: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    edit(surveyed)
    surveyed.open_paths([other])
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_: ("", ""))
    press(surveyed, "Save the project…")
    assert not surveyed.opener.busy
    assert surveyed.keeper.unsaved


def test_an_edit_just_before_is_in_the_projects_file(surveyed: MainWindow, other: Path, file: Path, until: Until) -> None:
    surveyed.menus.actions["save"].trigger()
    edit(surveyed, 0.3)
    surveyed.open_paths([other])
    until(opened(surveyed, 6))
    assert not surveyed.messages.messages
    assert load_project(file).light.sky_kept == 0.3
    assert len(load_project(file).frames) == 12


@pytest.fixture
def found(monkeypatch: pytest.MonkeyPatch) -> threading.Event:
    """Return an event that frames are looked for until."""
    real, found = surveying.gather, threading.Event()

    def slow(paths: list[Path], *, tick: Tick) -> object:
        found.wait(10)
        return real(paths, tick=tick)

    monkeypatch.setattr(surveying, "gather", slow)
    return found


def test_an_edit_while_frames_are_looked_for_is_kept_too(
    surveyed: MainWindow, other: Path, file: Path, until: Until, found: threading.Event
) -> None:
    surveyed.menus.actions["save"].trigger()
    surveyed.open_paths([other])
    edit(surveyed, 0.4)
    found.set()
    until(opened(surveyed, 6))
    assert load_project(file).light.sky_kept == 0.4


def test_an_edit_after_the_answer_is_asked_about_again(
    surveyed: MainWindow, other: Path, until: Until, found: threading.Event
) -> None:
    edit(surveyed)
    surveyed.open_paths([other])
    press(surveyed, "Open anyway")
    surveyed.messages.clear()
    edit(surveyed, 0.5)
    found.set()
    until(lambda: bool(surveyed.messages.messages))
    assert len(surveyed.session.project.frames) == 12
    press(surveyed, "Open anyway")
    until(opened(surveyed, 6))


def test_an_answer_about_an_older_opening_counts_for_it_alone(surveyed: MainWindow, other: Path, night: Path) -> None:
    edit(surveyed)
    surveyed.open_paths([other])
    surveyed.open_paths([night])
    assert len(surveyed.messages.messages) == 1
    assert not surveyed.opener.busy


def test_with_nothing_open_nothing_is_asked(window: MainWindow, night: Path, until: Until) -> None:
    window.open_paths([night])
    assert not window.messages.messages
    until(opened(window, 12))


def test_another_night_never_gets_into_the_file_of_the_first(surveyed: MainWindow, file: Path, until: Until) -> None:
    surveyed.menus.actions["save"].trigger()
    until(lambda: not surveyed.keeper.saving)
    kept, paths = file.read_bytes(), list[Path | None]()
    surveyed.session.project_changed.connect(lambda: paths.append(surveyed.keeper.path))
    surveyed.session.open(surveyed.session.project, ())
    assert paths == [None]
    assert not surveyed.keeper.save_now()
    assert file.read_bytes() == kept


def test_a_file_that_can_not_be_written_is_not_the_projects(
    surveyed: MainWindow, tmp_path: Path, until: Until, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_: (str(tmp_path / "gone" / "a.lapsebench"), ""))
    surveyed.menus.actions["save"].trigger()
    until(lambda: not surveyed.keeper.saving)
    assert surveyed.keeper.path is None
