"""Making the film from the window: done, cancelled, in the way of another file, and failed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QDesktopServices
from PySide6.QtTest import QTest

from lapsebench.errors import EncoderError
from lapsebench.gui import problems
from lapsebench.gui.problems import Message
from lapsebench.gui.window import MainWindow
from lapsebench.services import film as filming

Until = Callable[[Callable[[], bool]], None]


@pytest.fixture
def output(surveyed: MainWindow, tmp_path: Path) -> Path:
    """Return where the film goes, already chosen in the window."""
    path = tmp_path / "out" / "film.mp4"
    path.parent.mkdir()
    surveyed.bench.foot.set_path(path, confirmed=False)
    return path


def test_the_film_is_made_and_shown_in_its_folder(
    surveyed: MainWindow, output: Path, until: Until, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened: list[str] = []
    monkeypatch.setattr(QDesktopServices, "openUrl", lambda url: opened.append(url.toLocalFile()))
    QTest.mouseClick(surveyed.bench.foot.make, Qt.MouseButton.LeftButton)
    assert not surveyed.bench.foot.make.isEnabled()
    until(lambda: not surveyed.filming.busy)
    assert output.stat().st_size > 500
    assert list(output.parent.iterdir()) == [output]
    message = surveyed.messages.messages[0]
    assert message.what.startswith("Film done: film.mp4, 12 frames, 0.5 s")
    message.buttons[1][1]()
    assert opened == [str(output.parent)]


def test_a_film_in_the_way_is_replaced_only_on_request(surveyed: MainWindow, output: Path, until: Until) -> None:
    output.write_bytes(b"mine")
    surveyed.bench.foot.ask_film()
    assert not surveyed.filming.busy
    assert output.read_bytes() == b"mine"
    surveyed.messages.rows[0].message.buttons[0][1]()
    until(lambda: not surveyed.filming.busy)
    assert output.stat().st_size > 500


def test_cancelling_leaves_nothing_behind(
    surveyed: MainWindow, output: Path, until: Until, slow_film: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(filming, "make_film", slow_film)
    surveyed.bench.foot.ask_film()
    until(lambda: "of 10000" in surveyed.work_bar.rows[0]._numbers.text())
    surveyed.bench.light.sky.slider.setValue(10)  # settings stay live
    QTest.mouseClick(surveyed.work_bar.rows[0]._cancel, Qt.MouseButton.LeftButton)
    until(lambda: not surveyed.filming.busy)
    assert not list(output.parent.iterdir())
    assert not surveyed.work_bar.rows
    assert surveyed.bench.foot.make.isEnabled()


def test_the_encoders_last_words_can_be_read(
    surveyed: MainWindow, output: Path, until: Until, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_args: object, **_options: object) -> filming.FilmDone:
        raise EncoderError("The encoder refused.", "Try another size.", "line 1\nline 2")

    monkeypatch.setattr(filming, "make_film", broken)
    surveyed.bench.foot.ask_film()
    until(lambda: not surveyed.filming.busy)
    message = surveyed.messages.messages[0]
    assert (message.what, message.remedy, message.details) == (
        "The encoder refused.",
        "Try another size.",
        "line 1\nline 2",
    )
    assert not output.exists()


def test_a_refused_name_is_said_until_another_is_typed(surveyed: MainWindow, output: Path, until: Until) -> None:
    surveyed.bench.foot.set_path(output.with_name("wrong.avi"), confirmed=False)
    for ask in (surveyed.bench.foot.ask_film, surveyed.bench.foot.ask_line):
        ask()
        assert [message.what.split(" of ")[0] for message in surveyed.messages.messages] == ["wrong.avi is not a film"]
        QTest.keyClick(surveyed.bench.foot.name, Qt.Key.Key_X)
        assert not surveyed.messages.messages
        surveyed.bench.foot.set_path(output.with_name("wrong.avi"), confirmed=False)
    surveyed.bench.foot.ask_line()
    surveyed.bench.foot.set_path(output, confirmed=False)
    surveyed.bench.foot.ask_film()
    until(lambda: not surveyed.filming.busy)
    assert [message.what.split(":")[0] for message in surveyed.messages.messages] == ["Film done"]


def test_what_went_well_goes_with_the_next_edit_and_errors_stay(surveyed: MainWindow, tmp_path: Path, until: Until) -> None:
    surveyed.stills.save(tmp_path / "still.png")
    until(lambda: bool(surveyed.messages.messages))
    surveyed.stills.save(tmp_path / "no such folder" / "still.png")
    until(lambda: len(surveyed.messages.messages) == 2)
    surveyed.bench.light.sky.slider.setValue(10)
    (left,) = surveyed.messages.messages
    assert left.kind == "problem"


def test_a_note_goes_after_a_while_and_what_has_to_be_seen_stays(
    window: MainWindow, until: Until, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(problems, "_WHILE_MS", 1)
    for stays in (Message("Made overnight.", kind="done"), Message("Take care.", kind="caution")):
        window.messages.show_message(stays)
        window.messages.show_message(Message("Stopped."))
        assert len(window.messages.messages) == 2
        until(lambda kept=stays: window.messages.messages == [kept])  # type: ignore[misc]
        window.messages.clear()


def test_closing_while_filming_asks_once(
    surveyed: MainWindow, output: Path, until: Until, slow_film: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(filming, "make_film", slow_film)
    surveyed.bench.foot.ask_film()
    until(lambda: surveyed.filming.busy)
    assert not surveyed.close()
    assert surveyed.messages.messages[0].what == "A film is being made."
    assert surveyed.close()
    assert not output.exists()


def test_a_typed_name_gets_its_suffix_and_may_name_a_folder(surveyed: MainWindow, tmp_path: Path) -> None:
    foot = surveyed.bench.foot
    foot.set_path(tmp_path / "a.mp4", confirmed=False)
    foot.name.setText("other")
    assert foot.path == tmp_path / "other.mp4"
    foot.name.setText(str(tmp_path / "night" / "b.mov"))
    assert foot.path == tmp_path / "night" / "b.mov"


def test_enter_in_the_name_makes_no_film(surveyed: MainWindow) -> None:
    name = surveyed.bench.foot.name
    name.setFocus()
    QTest.keyClicks(name, "other")
    QTest.keyClick(name, Qt.Key.Key_Return)
    assert not surveyed.filming.busy


def test_messages_about_films_take_turns(surveyed: MainWindow, output: Path, until: Until) -> None:
    output.write_bytes(b"mine")
    surveyed.bench.foot.ask_film()
    surveyed.filming.make(output, overwrite=True)
    until(lambda: not surveyed.filming.busy)
    assert [message.what.split(":")[0] for message in surveyed.messages.messages] == ["Film done"]
