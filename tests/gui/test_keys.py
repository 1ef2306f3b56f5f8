"""The window by keyboard alone, and by the ear: keys, and a spoken name for every control."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractItemView,
    QAbstractSlider,
    QComboBox,
    QLabel,
    QLineEdit,
    QScrollBar,
    QSpinBox,
    QWidget,
)
from pytestqt.qtbot import QtBot

from lapsebench.gui.helpwindows import AboutWindow, KeysWindow
from lapsebench.gui.picture import Side
from lapsebench.gui.player import Player
from lapsebench.gui.window import MainWindow

Until = Callable[[Callable[[], bool]], None]
CONTROLS = (QAbstractButton, QAbstractSlider, QComboBox, QLineEdit, QSpinBox, QAbstractItemView)


def controls(window: MainWindow) -> list[QWidget]:
    """Return every control a user can reach, without the parts Qt makes inside them."""
    found = [widget for widget in window.findChildren(QWidget) if isinstance(widget, CONTROLS)]
    inner = (QComboBox, QSpinBox, QAbstractItemView)
    return [
        widget
        for widget in found
        if not isinstance(widget, QScrollBar)
        and not _is_inside(widget, inner)
        and not widget.objectName().startswith("qt_")
        and widget.focusPolicy() != Qt.FocusPolicy.NoFocus
    ]


def _is_inside(widget: QWidget, kinds: tuple[type, ...]) -> bool:
    parent = widget.parentWidget()
    return parent is not None and (isinstance(parent, kinds) or _is_inside(parent, kinds))


def test_every_control_has_a_spoken_name(surveyed: MainWindow) -> None:
    nameless = [widget for widget in controls(surveyed) if not (widget.accessibleName() or _text(widget))]
    assert not nameless, nameless
    assert len(controls(surveyed)) > 40


def _text(widget: QWidget) -> str:
    return widget.text() if isinstance(widget, QAbstractButton) else ""


def test_tab_reaches_every_section(surveyed: MainWindow, qtbot: QtBot) -> None:
    for section in surveyed.bench.sections:
        section.set_open(True)
    qtbot.waitUntil(surveyed.isActiveWindow)
    seen: set[QWidget] = set()
    surveyed.bench.shots.view.setFocus()
    for _ in range(120):
        focus = surveyed.focusWidget()
        assert focus is not None
        seen.add(focus)
        QTest.keyClick(focus, Qt.Key.Key_Tab)
    bench = surveyed.bench
    for control in (bench.light.sky.slider, bench.film.shape, bench.picture_section.dim, bench.foot.make, bench.foot.name):
        assert control in seen


@pytest.mark.parametrize(
    ("key", "frame"),
    [
        (Qt.Key.Key_Right, 6),
        (Qt.Key.Key_Left, 4),
        (Qt.Key.Key_Home, 0),
        (Qt.Key.Key_End, 11),
    ],
)
def test_keys_move_the_playhead(surveyed: MainWindow, key: Qt.Key, frame: int) -> None:
    surveyed.session.move_to(5)
    QTest.keyClick(surveyed, key)
    assert surveyed.session.playhead == frame
    surveyed.session.move_to(5)
    QTest.keyClick(surveyed.bench.strip, key)
    assert surveyed.session.playhead == frame


def test_letters_cut_take_out_and_peg(surveyed: MainWindow, qtbot: QtBot) -> None:
    qtbot.waitUntil(surveyed.isActiveWindow)
    session, strip = surveyed.session, surveyed.bench.strip
    strip.setFocus()
    session.move_to(2)
    QTest.keyClick(strip, Qt.Key.Key_I)
    session.move_to(9)
    QTest.keyClick(strip, Qt.Key.Key_O)
    assert session.shot is not None
    assert (session.shot.trim_in, session.shot.trim_out) == (2, 9)
    QTest.keyClick(strip, Qt.Key.Key_P)
    assert [peg.frame for peg in session.project.light.pegs] == [9]
    QTest.keyClick(strip, Qt.Key.Key_T)
    assert 9 in session.project.left_out
    QTest.keyClick(strip, Qt.Key.Key_1)
    assert surveyed.bench.picture.side is Side.BEFORE


def test_letters_are_letters_in_the_file_name(surveyed: MainWindow, qtbot: QtBot) -> None:
    qtbot.waitUntil(surveyed.isActiveWindow)
    name = surveyed.bench.foot.name
    name.setFocus()
    name.clear()
    QTest.keyClicks(name, "jilo film")
    assert name.text() == "jilo film"
    assert surveyed.session.undo_stack.count() == 0
    assert not surveyed.player.playing


def test_space_plays_and_the_playhead_goes_on(surveyed: MainWindow, until: Until) -> None:
    QTest.keyClick(surveyed.bench.strip, Qt.Key.Key_Space)
    assert surveyed.player.playing
    until(lambda: surveyed.session.playhead > 2)
    QTest.keyClick(surveyed, Qt.Key.Key_Space)
    assert not surveyed.player.playing


def test_j_k_l(surveyed: MainWindow, qtbot: QtBot) -> None:
    qtbot.waitUntil(surveyed.isActiveWindow)
    strip, player = surveyed.bench.strip, surveyed.player
    strip.setFocus()
    for key, speed in (("L", 1), ("L", 2), ("L", 4), ("K", 0), ("J", -1), ("J", -2), ("K", 0)):
        QTest.keyClicks(strip, key.lower())
        assert player.speed == speed


def test_playback_keeps_the_films_rate_and_drops_frames(surveyed: MainWindow) -> None:
    now = [0.0]
    session = surveyed.session
    player = Player(session, surveyed, clock=lambda: now[0])
    session.toggle_frame(3)
    player.set_loop(False)
    player.toggle()
    player._timer.stop()
    for at, frame in ((0.0, 0), (0.045, 1), (0.125, 4), (0.29, 8)):
        now[0] = at
        player.advance()
        assert session.playhead == frame
    now[0] = 9.0
    player.advance()
    assert session.playhead == 11
    assert not player.playing


def test_looping_starts_the_shot_anew(surveyed: MainWindow) -> None:
    now = [0.0]
    player = Player(surveyed.session, surveyed, clock=lambda: now[0])
    player.toggle()
    player._timer.stop()
    now[0] = 13.5 / 25
    player.advance()
    assert surveyed.session.playhead == 1
    player.pause()


def test_help_windows_list_the_keys(surveyed: MainWindow) -> None:
    keys = KeysWindow(surveyed.menus.actions, surveyed)
    items = [keys.table.item(row, 0) for row in range(keys.table.rowCount())]
    listed = {item.text() for item in items if item}
    assert {"Space", "J", "K", "L", "I", "O"} <= listed
    keys.show()
    about = AboutWindow(surveyed)
    about.show()
    QTest.keyClick(keys, Qt.Key.Key_Escape)
    about.close()


def test_no_two_actions_share_a_key(window: MainWindow) -> None:
    names = window.menus.actions.names()
    keys = [window.menus.actions[name].shortcut().toString() for name in names]
    keys = [key for key in keys if key]
    assert len(keys) == len(set(keys))


def test_playing_on_too_few_frames_pauses_and_says_so(surveyed: MainWindow) -> None:
    player, session = surveyed.player, surveyed.session
    told: list[bool] = []
    player.playing_changed.connect(told.append)
    player.forward()
    for frame in range(1, 12):
        session.toggle_frame(frame)
    player.forward()
    assert not player.playing
    assert not player._timer.isActive()
    assert told == [True, False]
    assert not surveyed.feed._playing


def test_tab_comes_to_the_settings_before_the_button_that_makes_the_film(surveyed: MainWindow) -> None:
    bench = surveyed.bench
    order: list[QWidget] = [bench.strip]
    while len(order) < 500:
        following = order[-1].nextInFocusChain()
        if following is None or following is bench.strip:
            break
        order.append(following)
    assert order.index(bench.light.even) < order.index(bench.foot.make)
    assert order.index(bench.film.header) < order.index(bench.foot.make)


def test_the_window_fits_a_small_screen(surveyed: MainWindow) -> None:
    assert surveyed.minimumSizeHint().width() <= 1000
    assert surveyed.minimumSizeHint().height() <= 700


def test_no_two_controls_share_a_letter_of_access(surveyed: MainWindow) -> None:
    """With Alt, a letter must go to one control or menu; two of a letter only take turns in the focus."""
    for section in (*surveyed.bench.sections, surveyed.bench.light.measuring):
        section.set_open(True)
    texts = [action.text() for action in surveyed.menuBar().actions()]
    for widget in surveyed.bench.findChildren(QWidget):
        if isinstance(widget, QAbstractButton) or (isinstance(widget, QLabel) and widget.buddy() is not None):
            texts.append(widget.text())
    letters = [found.group(1).lower() for text in texts if (found := re.search(r"&([^&\s])", text.replace("&&", "")))]
    twice = sorted({letter for letter in letters if letters.count(letter) > 1})
    assert not twice, [text for text in texts if any(f"&{letter}" in text.lower() for letter in twice)]
