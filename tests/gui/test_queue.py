"""The line of films as a user has it: put in, shown, made one after another, moved, cancelled, and there after a restart."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import av
import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QAbstractButton, QWidget
from pytestqt.modeltest import ModelTester

from lapsebench.errors import EncoderError
from lapsebench.gui.commands import toggle_frame
from lapsebench.gui.problems import Message
from lapsebench.gui.window import MainWindow
from lapsebench.services import film as filming
from lapsebench.services import filmqueue

Until = Callable[[Callable[[], bool]], None]


@pytest.fixture
def films(tmp_path: Path) -> Path:
    """Return the folder that films go to."""
    folder = tmp_path / "films"
    folder.mkdir()
    return folder


@pytest.fixture
def slow(slow_film: object, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let no film of the line end."""
    monkeypatch.setattr(filmqueue, "make_film", slow_film)


def click(button: QAbstractButton) -> None:
    assert button.isEnabled()
    QTest.mouseClick(button, Qt.MouseButton.LeftButton)


def line_up(window: MainWindow, path: Path) -> None:
    """Put the film in line as a user does."""
    window.bench.foot.set_path(path, confirmed=False)
    click(window.bench.foot.line)


def titles(window: MainWindow) -> list[str]:
    return [entry.title for entry in window.line.entries]


def texts(window: MainWindow) -> list[str]:
    model = window.line_window.model
    return [model.data(model.index(row)) for row in range(model.rowCount())]


def message(window: MainWindow, start: str) -> Message:
    return next(each for each in window.messages.messages if each.what.startswith(start))


def press(said: Message, text: str) -> None:
    dict(said.buttons)[text]()


def frames_of(film: Path) -> int:
    with av.open(str(film)) as container:
        return sum(1 for _ in container.decode(video=0))


def test_two_films_are_put_in_line_and_made_one_after_another(surveyed: MainWindow, films: Path, until: Until) -> None:
    line_up(surveyed, films / "all.mp4")
    assert message(surveyed, "all.mp4 waits in line as it is set now").buttons
    surveyed.session.edit("", toggle_frame(3))
    line_up(surveyed, films / "one less.mp4")
    surveyed.session.edit("", toggle_frame(4))
    assert not list(films.iterdir())
    surveyed.menus.actions["line"].trigger()
    assert texts(surveyed) == [
        "all.mp4\n12 frames · 144 × 96 · H.264, 8 bits\nwaiting",
        "one less.mp4\n11 frames · 144 × 96 · H.264, 8 bits\nwaiting",
    ]
    click(surveyed.line_window.start)
    assert texts(surveyed)[0].endswith("being made")
    until(lambda: not surveyed.line.busy)
    assert (frames_of(films / "all.mp4"), frames_of(films / "one less.mp4")) == (12, 11)
    assert not texts(surveyed)
    assert message(surveyed, "No more film is waiting.").remedy == "Made: all.mp4, one less.mp4."
    assert message(surveyed, "Film done: one less.mp4, 11 frames")


def test_an_empty_line_says_so_and_how_to_fill_it(window: MainWindow) -> None:
    window.menus.actions["line"].trigger()
    shown = window.line_window
    assert shown.isVisible()
    assert not shown.isModal()
    assert shown.empty.isVisible()
    assert shown.empty.text().startswith("No film is waiting.")
    buttons = (shown.start, shown.pause, shown.up, shown.down, shown.again, shown.remove)
    assert not any(button.isEnabled() for button in buttons)


def test_after_a_restart_waiting_films_are_said_and_nothing_starts(
    surveyed: MainWindow, films: Path, new_window: Callable[[], MainWindow], until: Until
) -> None:
    line_up(surveyed, films / "a.mp4")
    line_up(surveyed, films / "b.mp4")
    surveyed.close_now()
    again = new_window()
    until(lambda: bool(again.messages.messages))
    said = message(again, "2 films are waiting.")
    assert not again.line.busy
    press(said, "Show the line")
    assert again.line_window.isVisible()
    assert titles(again) == ["a.mp4", "b.mp4"]
    press(said, "Start them")
    until(lambda: not again.line.busy)
    assert sorted(film.name for film in films.iterdir()) == ["a.mp4", "b.mp4"]


@pytest.mark.parametrize("waiting", [0, 2])
def test_after_a_restart_films_that_failed_are_said(
    surveyed: MainWindow, films: Path, new_window: Callable[[], MainWindow], until: Until, waiting: int
) -> None:
    line_up(surveyed, films / "in the way.mp4")
    (films / "in the way.mp4").write_bytes(b"mine")
    surveyed.line.start()
    until(lambda: surveyed.line.entries[0].failed)
    until(lambda: not surveyed.line.busy)
    for number in range(waiting):
        line_up(surveyed, films / f"{number}.mp4")
    surveyed.close_now()
    again = new_window()
    until(lambda: bool(again.messages.messages))
    (said,) = again.messages.messages
    told = f"{said.what} {said.remedy}"
    assert "1 film in line could not be made. The line says why." in told
    assert ("2 films are waiting." in told) == bool(waiting)
    press(said, "Show the line")
    assert "could not be made" in texts(again)[0] or "already there" in texts(again)[0]


@pytest.mark.usefixtures("slow")
def test_cancelled_a_film_stays_in_line_and_the_line_stops(surveyed: MainWindow, films: Path, until: Until) -> None:
    line_up(surveyed, films / "a.mp4")
    line_up(surveyed, films / "b.mp4")
    surveyed.line_window.show()
    click(surveyed.line_window.start)
    until(lambda: "of 10000" in surveyed.work_bar.rows[0]._numbers.text())
    assert surveyed.work_bar.rows[0]._title.text() == "Making a.mp4"
    until(lambda: surveyed.line_window.bar.value() > 0)
    assert surveyed.line_window.bar.isVisible()
    click(surveyed.work_bar.rows[0]._cancel)
    until(lambda: not surveyed.line.busy)
    assert titles(surveyed) == ["a.mp4", "b.mp4"]
    assert not surveyed.line_window.bar.isVisible()
    assert message(surveyed, "a.mp4 was cancelled; it still waits in line.")
    assert surveyed.line_window.start.isEnabled()
    assert not list(films.iterdir())


def test_a_film_that_fails_is_said_with_its_reason_and_can_be_tried_again(
    surveyed: MainWindow, films: Path, until: Until, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_args: object, **_options: object) -> filming.FilmDone:
        raise EncoderError("The encoder refused.", "Try another size.", "line 1")

    line_up(surveyed, films / "a.mp4")
    surveyed.menus.actions["line"].trigger()
    shown = surveyed.line_window
    with monkeypatch.context() as patch:
        patch.setattr(filmqueue, "make_film", broken)
        click(shown.start)
        until(lambda: not surveyed.line.busy)
    said = message(surveyed, "a.mp4 could not be made.")
    assert (said.remedy, said.details) == ("The encoder refused. Try another size.", "line 1")
    assert texts(surveyed)[0].endswith("could not be made")
    assert "The encoder refused. Try another size." in shown.told.text()
    assert not shown.start.isEnabled()
    click(shown.again)
    assert texts(surveyed)[0].endswith("waiting")
    click(shown.start)
    until(lambda: not surveyed.line.busy)
    assert frames_of(films / "a.mp4") == 12


@pytest.mark.usefixtures("slow")
def test_make_the_film_puts_it_in_line_while_the_line_works(surveyed: MainWindow, films: Path, until: Until) -> None:
    line_up(surveyed, films / "a.mp4")
    surveyed.line.start()
    until(lambda: surveyed.line.busy)
    surveyed.bench.foot.set_path(films / "b.mp4", confirmed=False)
    click(surveyed.bench.foot.make)
    assert not surveyed.filming.busy
    assert titles(surveyed) == ["a.mp4", "b.mp4"]
    assert "comes after" in message(surveyed, "b.mp4 waits in line").remedy


def test_the_line_waits_for_a_film_made_at_once(
    surveyed: MainWindow, films: Path, until: Until, slow_film: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(filming, "make_film", slow_film)
    line_up(surveyed, films / "b.mp4")
    surveyed.bench.foot.set_path(films / "a.mp4", confirmed=False)
    click(surveyed.bench.foot.make)
    surveyed.line.start()
    until(lambda: surveyed.filming.busy)
    assert not surveyed.line.busy
    click(surveyed.work_bar.rows[0]._cancel)
    until(lambda: (films / "b.mp4").exists() and not surveyed.line.busy)
    assert frames_of(films / "b.mp4") == 12


@pytest.mark.usefixtures("slow")
def test_closing_while_the_line_works_asks_once_and_keeps_it(
    surveyed: MainWindow, films: Path, until: Until, new_window: Callable[[], MainWindow]
) -> None:
    line_up(surveyed, films / "a.mp4")
    surveyed.line.start()
    until(lambda: surveyed.line.busy)
    assert not surveyed.close()
    assert "stays there" in message(surveyed, "A film is being made.").remedy
    assert surveyed.close()
    assert not list(films.iterdir())
    again = new_window()
    until(lambda: bool(again.messages.messages))
    assert message(again, "1 film is waiting.")


def test_pause_ends_the_line_after_the_film_in_work(
    surveyed: MainWindow, films: Path, until: Until, monkeypatch: pytest.MonkeyPatch
) -> None:
    go_on, really = [False], filming.make_film

    def held(*args: Any, **options: Any) -> filming.FilmDone:
        while not go_on[0]:
            options["tick"](0, 12)
            time.sleep(0.005)
        return really(*args, **options)

    monkeypatch.setattr(filmqueue, "make_film", held)
    line_up(surveyed, films / "a.mp4")
    line_up(surveyed, films / "b.mp4")
    surveyed.line_window.show()
    click(surveyed.line_window.start)
    click(surveyed.line_window.pause)
    go_on[0] = True
    until(lambda: not surveyed.line.busy)
    assert titles(surveyed) == ["b.mp4"]
    assert [film.name for film in films.iterdir()] == ["a.mp4"]


def test_films_are_moved_and_removed_by_keyboard(surveyed: MainWindow, films: Path, until: Until) -> None:
    for name in ("a.mp4", "b.mp4", "c.mp4"):
        line_up(surveyed, films / name)
    surveyed.menus.actions["line"].trigger()
    shown = surveyed.line_window
    until(shown.view.hasFocus)
    QTest.keyClick(shown.view, Qt.Key.Key_Down)
    QTest.keyClick(shown.view, Qt.Key.Key_Down)
    shown.up.setFocus()
    QTest.keyClick(shown.up, Qt.Key.Key_Space)
    assert titles(surveyed) == ["a.mp4", "c.mp4", "b.mp4"]
    assert shown.view.currentIndex().row() == 1
    QTest.keyClick(shown.view, Qt.Key.Key_Delete)
    assert titles(surveyed) == ["a.mp4", "b.mp4"]
    assert not any("c.mp4" in text for text in texts(surveyed))


def test_every_control_is_named_and_reached_by_tab(surveyed: MainWindow, films: Path, until: Until) -> None:
    for name in ("a.mp4", "b.mp4"):
        line_up(surveyed, films / name)
    surveyed.menus.actions["line"].trigger()
    shown = surveyed.line_window
    until(shown.isActiveWindow)
    seen = set[QWidget]()
    shown.view.setFocus()
    for _ in range(12):
        focus = shown.focusWidget()
        assert focus is not None
        assert focus.accessibleName()
        seen.add(focus)
        QTest.keyClick(focus, Qt.Key.Key_Tab)
    assert {shown.view, shown.start, shown.down, shown.remove, shown.shut} <= seen


def test_a_file_in_the_way_is_replaced_only_on_request(surveyed: MainWindow, films: Path, until: Until) -> None:
    (films / "a.mp4").write_bytes(b"mine")
    line_up(surveyed, films / "a.mp4")
    assert not titles(surveyed)
    press(message(surveyed, "a.mp4 is already there."), "Replace it then")
    assert titles(surveyed) == ["a.mp4"]
    assert (films / "a.mp4").read_bytes() == b"mine"
    surveyed.line.start()
    until(lambda: not surveyed.line.busy)
    assert frames_of(films / "a.mp4") == 12


def test_a_file_that_came_to_be_there_is_replaced_only_on_request(surveyed: MainWindow, films: Path, until: Until) -> None:
    line_up(surveyed, films / "a.mp4")
    (films / "a.mp4").write_bytes(b"mine")
    surveyed.menus.actions["line"].trigger()
    shown = surveyed.line_window
    assert not shown.replace.isEnabled()
    click(shown.start)
    until(lambda: not surveyed.line.busy)
    assert "a.mp4 exists already" in shown.told.text()
    assert (films / "a.mp4").read_bytes() == b"mine"
    click(shown.replace)
    click(shown.start)
    until(lambda: not surveyed.line.busy)
    assert frames_of(films / "a.mp4") == 12


def test_the_same_name_twice_in_line_is_refused(surveyed: MainWindow, films: Path) -> None:
    line_up(surveyed, films / "a.mp4")
    line_up(surveyed, films / "a.mp4")
    assert titles(surveyed) == ["a.mp4"]
    assert message(surveyed, "a.mp4 is in the line of films already.")


@pytest.mark.usefixtures("slow")
def test_what_another_window_makes_is_said_and_left_alone(
    surveyed: MainWindow, films: Path, new_window: Callable[[], MainWindow], until: Until
) -> None:
    line_up(surveyed, films / "a.mp4")
    surveyed.line.start()
    until(lambda: "of 10000" in surveyed.work_bar.rows[0]._numbers.text())
    other = new_window()
    other.show_line()
    until(lambda: bool(texts(other)))
    assert texts(other)[0].endswith("being made by another window")
    assert not other.line_window.remove.isEnabled()
    assert not other.line_window.start.isEnabled()
    assert not other.messages.messages


def test_the_list_is_a_sound_model(surveyed: MainWindow, films: Path, qtmodeltester: ModelTester) -> None:
    line_up(surveyed, films / "a.mp4")
    run: Callable[[Any], None] = getattr(qtmodeltester, "check")  # noqa: B009
    run(surveyed.line_window.model)
    line_up(surveyed, films / "b.mp4")
    surveyed.line.remove(surveyed.line.entries[0].key)
