"""Opening as a user does: by drop, by the demo button, from the recent ones; and what is said when it fails."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from PySide6.QtCore import QMimeData, QPoint, QPointF, Qt, QUrl
from PySide6.QtGui import QDragEnterEvent, QDragLeaveEvent, QDropEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from lapsebench.core.progress import Tick
from lapsebench.core.project import Project
from lapsebench.errors import LapsebenchError
from lapsebench.gui import entrance
from lapsebench.gui.settings import Settings
from lapsebench.gui.theme import Theme
from lapsebench.gui.window import MainWindow
from lapsebench.services import survey as surveying

Until = Callable[[Callable[[], bool]], None]


def drop(window: MainWindow, *paths: Path) -> None:
    """Drop paths on the window."""
    mime = QMimeData()
    mime.setUrls([QUrl.fromLocalFile(str(path)) for path in paths])
    left, no_key = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier
    enter = QDragEnterEvent(QPoint(5, 5), Qt.DropAction.CopyAction, mime, left, no_key)
    QApplication.sendEvent(window, enter)
    assert enter.isAccepted()
    QApplication.sendEvent(window, QDropEvent(QPointF(5, 5), Qt.DropAction.CopyAction, mime, left, no_key))


def slow_survey(project: Project, *, tick: Tick, measured: object) -> surveying.Survey:  # noqa: ARG001
    """Survey that only ends when it is cancelled."""
    for done in range(10_000):
        tick(done, 10_000)
        time.sleep(0.005)
    raise AssertionError("was not cancelled")


def test_a_dropped_folder_is_gathered_surveyed_and_shown(window: MainWindow, night: Path, until: Until) -> None:
    drop(window, night)
    until(lambda: window.session.film_light is not None)
    session = window.session
    assert len(session.project.frames) == 12
    assert set(session.measures) == set(range(12))
    assert window.stack.currentWidget() is window.bench
    assert window.bench.shots.model.rowCount() == 1
    assert "12 frames" in window.bench.shots.model.index(0).data()
    assert window.bench.strip.canvas.model is not None
    assert window.bench.strip.canvas.model.count == 12
    until(lambda: window.bench.picture.film is not None)


def test_the_cover_shows_while_something_is_held_over_the_window(window: MainWindow, night: Path) -> None:
    mime = QMimeData()
    mime.setUrls([QUrl.fromLocalFile(str(night))])
    left, no_key = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier
    QApplication.sendEvent(window, QDragEnterEvent(QPoint(5, 5), Qt.DropAction.CopyAction, mime, left, no_key))
    assert window._cover.isVisible()
    window._cover.grab()
    QApplication.sendEvent(window, QDragLeaveEvent())
    assert not window._cover.isVisible()


def test_the_demo_opens_with_one_click(
    window: MainWindow, night: Path, until: Until, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(entrance, "demo_folder", lambda: night)
    QTest.mouseClick(window.start_page.demo_button, Qt.MouseButton.LeftButton)
    until(lambda: window.session.film_light is not None)
    assert Settings().recent() == []


def test_a_recent_folder_opens_with_one_click(
    surveyed: MainWindow, night: Path, until: Until, new_window: Callable[[], MainWindow]
) -> None:
    assert Settings().recent() == [night]
    other = new_window()
    QTest.mouseClick(other.start_page.recent_buttons[0], Qt.MouseButton.LeftButton)
    until(lambda: len(other.session.project.frames) == 12)
    other.close()
    surveyed.close()


def test_an_empty_folder_says_what_and_what_to_do(window: MainWindow, tmp_path: Path, until: Until) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    window.open_paths([empty])
    until(lambda: bool(window.messages.messages))
    message = window.messages.messages[0]
    assert message.what
    assert message.remedy
    assert window.stack.currentWidget() is window.start_page


def test_an_empty_folder_leaves_the_open_night_alone(surveyed: MainWindow, tmp_path: Path, until: Until) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    surveyed.open_paths([empty])
    until(lambda: bool(surveyed.messages.messages))
    assert len(surveyed.session.project.frames) == 12
    assert surveyed.session.film_light is not None


def test_an_unforeseen_error_can_be_copied(
    window: MainWindow, night: Path, until: Until, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(_paths: object, *, tick: Tick) -> object:  # noqa: ARG001
        raise ValueError("the sky fell")

    monkeypatch.setattr(surveying, "gather", broken)
    window.open_paths([night])
    until(lambda: bool(window.messages.messages))
    assert "the sky fell" in window.messages.messages[0].what
    window.messages.rows[0].copy_details()
    assert "Traceback" in QApplication.clipboard().text()


def test_cancelling_the_survey_keeps_the_frames_and_offers_another(
    window: MainWindow, night: Path, until: Until, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(surveying, "survey", slow_survey)
    window.open_paths([night])
    until(lambda: bool(window.work_bar.rows) and bool(window.session.project.frames))
    window.session.step(3)  # nothing is in the way of browsing
    assert window.session.playhead == 3
    QTest.mouseClick(window.work_bar.rows[0]._cancel, Qt.MouseButton.LeftButton)
    until(lambda: not window.opener.busy)
    assert [text for text, _ in window.messages.messages[0].buttons] == ["Measure again"]
    monkeypatch.undo()
    window.messages.messages[0].buttons[0][1]()
    until(lambda: window.session.survey is not None)


def test_another_folder_replaces_a_survey_that_still_runs(
    window: MainWindow, night: Path, until: Until, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = surveying.survey
    turns: list[Project] = []

    def first_is_slow(project: Project, *, tick: Tick, measured: surveying.Measured) -> surveying.Survey:
        turns.append(project)
        return (slow_survey if len(turns) == 1 else real)(project, tick=tick, measured=measured)

    monkeypatch.setattr(surveying, "survey", first_is_slow)
    window.open_paths([night])
    until(lambda: len(turns) == 1)
    window.open_paths(sorted(night.iterdir())[:6])
    until(lambda: window.session.film_light is not None)
    assert len(window.session.project.frames) == 6
    assert not window.messages.messages


def test_closing_while_surveying_joins_the_threads(
    window: MainWindow, night: Path, until: Until, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(surveying, "survey", slow_survey)
    window.open_paths([night])
    until(lambda: bool(window.session.project.frames) and window.opener.busy)
    window.close()
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("lapsebench-job")]


def test_the_window_remembers(surveyed: MainWindow, new_window: Callable[[], MainWindow]) -> None:
    surveyed.set_theme(Theme.LIGHT)
    surveyed.bench.light.set_open(False)
    surveyed.menus.actions["loop"].setChecked(False)
    surveyed.close()
    again = new_window()
    assert again.settings.text("window/theme") == "light"
    assert not again.bench.light.is_open
    assert not again.player.loop
    again.set_theme(Theme.DARK)
    again.close()


def test_a_missing_demo_is_said(window: MainWindow, monkeypatch: pytest.MonkeyPatch) -> None:
    def missing() -> Path:
        raise LapsebenchError("The demo night is not here.", "Install again.")

    monkeypatch.setattr(entrance, "demo_folder", missing)
    window.open_demo()
    assert window.messages.messages[0].remedy == "Install again."
