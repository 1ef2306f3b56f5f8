"""The project is kept in a file: saved, reopened with every decision, saved again by itself, and not lost on closing."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from PySide6.QtWidgets import QFileDialog

from lapsebench.core.filmlight import Peg
from lapsebench.gui.commands import change_light, toggle_frame, trim_shot
from lapsebench.gui.window import MainWindow
from lapsebench.io.projectfile import load_project

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
    assert not surveyed.isWindowModified()
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
    surveyed.session.edit("", change_light(sky_kept=0.1))
    until(lambda: load_project(file).light.sky_kept == 0.1)
    assert not surveyed.isWindowModified()


def test_closing_asks_once_before_unsaved_edits_are_lost(surveyed: MainWindow) -> None:
    surveyed.session.edit("", change_light(sky_kept=0.1))
    assert not surveyed.close()
    assert surveyed.isVisible()
    assert "not saved" in surveyed.messages.messages[0].what
    assert surveyed.close()


def test_a_file_that_can_not_be_written_is_said(
    surveyed: MainWindow, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_: (str(tmp_path / "gone" / "a.lapsebench"), ""))
    surveyed.session.edit("", change_light(sky_kept=0.1))
    surveyed.menus.actions["save"].trigger()
    assert "can't be written" in surveyed.messages.messages[0].what
    assert surveyed.isWindowModified()


def test_a_damaged_project_is_said(window: MainWindow, tmp_path: Path, until: Until) -> None:
    path = tmp_path / "broken.lapsebench"
    path.write_text("{")
    window.open_paths([path])
    until(lambda: bool(window.messages.messages))
    assert "no lapsebench project" in window.messages.messages[0].what
