"""Edits as a user makes them: each is one undo step, and undo and redo bring back exactly what was."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

import numpy as np
import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QSlider
from pytestqt.qtbot import QtBot

from lapsebench.core.filmlight import Peg
from lapsebench.core.filmsettings import Crop
from lapsebench.core.presets import Preset, preset_of
from lapsebench.gui.commands import change_light
from lapsebench.gui.window import MainWindow


def drag(slider: QSlider, pixels: int) -> None:
    """Drag a slider's handle with the mouse, in steps."""
    share = (slider.value() - slider.minimum()) / (slider.maximum() - slider.minimum())
    start = QPoint(round(6 + share * (slider.width() - 12)), slider.height() // 2)
    QTest.mousePress(slider, Qt.MouseButton.LeftButton, pos=start)
    for step in range(1, 6):
        QTest.mouseMove(slider, start + QPoint(pixels * step // 5, 0))
    QTest.mouseRelease(slider, Qt.MouseButton.LeftButton, pos=start + QPoint(pixels, 0))


def test_a_slider_drag_is_one_step_and_moves_the_film_light(surveyed: MainWindow) -> None:
    session, section = surveyed.session, surveyed.bench.light
    before, light = session.project, session.film_light
    drag(section.sky.slider, -60)
    assert session.project.light.sky_kept < 0.5
    assert session.undo_stack.count() == 1
    assert session.undo_stack.undoText() == "Keep sky changes"
    assert light is not None and session.film_light is not None
    drag(section.brightness.slider, 40)
    assert session.undo_stack.count() == 2
    assert not np.allclose(light.gain_ev, session.film_light.gain_ev)
    session.undo_stack.undo()
    session.undo_stack.undo()
    assert session.project == before
    assert section.sky.slider.value() == 60


def test_key_presses_on_a_slider_melt_into_one_step_until_a_pause(surveyed: MainWindow, qtbot: QtBot) -> None:
    slider, stack = surveyed.bench.light.ramp.slider, surveyed.session.undo_stack
    slider.setFocus()
    for _ in range(4):
        QTest.keyClick(slider, Qt.Key.Key_Right)
    assert surveyed.session.project.light.ramp_s == pytest.approx(4.4)
    assert surveyed.session.playhead == 0
    assert stack.count() == 1
    qtbot.waitUntil(lambda: not surveyed.session._idle.isActive(), timeout=3000)
    QTest.keyClick(slider, Qt.Key.Key_Right)
    assert stack.count() == 2


def _click(name: str, *, at: int = 0) -> Callable[[MainWindow], None]:
    def do(window: MainWindow) -> None:
        window.session.move_to(at)
        window.menus.actions[name].trigger()

    return do


def _uncheck_shot(window: MainWindow) -> None:
    model = window.bench.shots.model
    model.setData(model.index(0), Qt.CheckState.Unchecked.value, Qt.ItemDataRole.CheckStateRole)


def _pegs(window: MainWindow) -> tuple[Peg, ...]:
    return window.session.project.light.pegs


EDITS: dict[str, Callable[[MainWindow], None]] = {
    "even": lambda w: w.bench.light.even.click(),
    "flicker": lambda w: w.bench.light.flicker.click(),
    "colour": lambda w: w.bench.light.colour.click(),
    "preset": lambda w: w.bench.light.presets[Preset.STEADY].click(),
    "sky": lambda w: w.bench.light.sky.slider.setValue(20),
    "ramp": lambda w: w.bench.light.ramp.slider.setValue(90),
    "brightness": lambda w: w.bench.light.brightness.slider.setValue(5),
    "peg by key": _click("peg"),
    "peg by strip": lambda w: w.bench.strip.peg_placed.emit(4, -5.0),
    "leave out": _click("toggle frame"),
    "leave out by strip": lambda w: w.bench.strip.frame_toggled.emit(5),
    "in": _click("in", at=3),
    "out": _click("out", at=8),
    "trim by strip": lambda w: w.bench.strip.trim_changed.emit(2, 9, True),
    "shot out": _uncheck_shot,
    "shape": lambda w: w.bench.film.shape.activated.emit(1),
    "size": lambda w: w.bench.film.size_box.activated.emit(2),
    "own size": lambda w: w.bench.film.size_box.activated.emit(w.bench.film.size_box.count() - 1),
    "rate": lambda w: w.bench.film.rate.activated.emit(0),
    "quality": lambda w: w.bench.film.quality.slider.setValue(10),
}


@pytest.mark.parametrize("name", EDITS)
def test_every_edit_is_undone_and_redone(surveyed: MainWindow, name: str) -> None:
    session = surveyed.session
    before = session.project
    EDITS[name](surveyed)
    after = session.project
    assert after != before
    assert session.undo_stack.count() == 1
    assert surveyed.menus.actions["undo"].text().replace("&", "") == f"Undo {session.undo_stack.undoText()}"
    surveyed.menus.actions["undo"].trigger()
    assert session.project == before
    surveyed.menus.actions["redo"].trigger()
    assert session.project == after


def test_a_trim_drag_on_the_strip_is_one_step(surveyed: MainWindow) -> None:
    strip, session = surveyed.bench.strip, surveyed.session
    for last in (10, 9, 8):
        strip.trim_changed.emit(0, last, False)
    strip.trim_changed.emit(0, 8, True)
    assert session.undo_stack.count() == 1
    assert session.used == list(range(9))
    strip.trim_changed.emit(1, 8, True)
    assert session.undo_stack.count() == 2


def test_pegs_are_placed_moved_listed_and_removed(surveyed: MainWindow) -> None:
    strip, session, section = surveyed.bench.strip, surveyed.session, surveyed.bench.light
    strip.peg_placed.emit(4, -5.0)
    strip.peg_placed.emit(8, -4.0)
    for ev in (-5.2, -5.5):
        strip.peg_moved.emit(4, ev, False)
    strip.peg_moved.emit(4, -5.5, True)
    assert _pegs(surveyed) == (Peg(4, -5.5), Peg(8, -4.0))
    assert session.undo_stack.count() == 3
    assert session.film_light is not None
    assert session.film_light.film_ev[4] == pytest.approx(-5.5, abs=0.05)
    assert section.pegs.count() == 2
    section.pegs.setCurrentRow(0)
    section.remove.click()
    assert _pegs(surveyed) == (Peg(8, -4.0),)
    section.remove_all.click()
    assert _pegs(surveyed) == ()


def test_an_undo_step_from_before_the_survey_keeps_the_faults_found(surveyed: MainWindow) -> None:
    session = surveyed.session
    session.toggle_frame(2)
    frames = session.project.frames
    assert session.survey is not None
    session.finish_survey(session.survey)
    session.undo_stack.undo()
    assert session.project.frames == frames
    assert 2 in session.used


def test_the_film_section_says_what_comes_of_it(surveyed: MainWindow) -> None:
    film = surveyed.bench.film
    assert film.result.text() == "144 × 96 · 12 frames · 0.5 s"
    film.size_box.activated.emit(film.size_box.count() - 1)
    film.width_spin.setValue(100)
    film.height_spin.setValue(100)
    film.rate.activated.emit(0)
    settings = surveyed.session.project.film
    assert (settings.size, settings.exact, settings.fps) == ((100, 100), True, Fraction(24000, 1001))
    assert film.result.text().startswith("100 × 100")
    assert not film.shape.isEnabled()
    film.size_box.activated.emit(0)
    film.shape.activated.emit(list(Crop).index(Crop.SQUARE))
    assert film.result.text().startswith("96 × 96")
    assert surveyed.bench.picture.crop is not None


def test_faults_are_listed_jumped_to_and_taken_in(surveyed: MainWindow) -> None:
    section, session = surveyed.bench.frames, surveyed.session
    session.toggle_frame(6)
    assert section.model.rows == [(6,)]
    section.list.setCurrentIndex(section.model.index(0))
    assert session.playhead == 6
    section.model.setData(section.model.index(0), Qt.CheckState.Checked.value, Qt.ItemDataRole.CheckStateRole)
    assert session.used == list(range(12))
    assert section.model.rows == []


def test_the_fastest_change_of_the_film_is_told(surveyed: MainWindow) -> None:
    session, told = surveyed.session, surveyed.bench.light.steepest
    assert session.film_light is not None
    jumps = np.abs(np.diff(session.film_light.film_ev[session.used]))
    assert told.text() == f"Fastest change: {jumps.max():.1f} stops, at frame {session.used[int(jumps.argmax()) + 1] + 1}"
    session.edit("", change_light(even=False))
    assert "1.3 stops, at frame 8" in told.text(), "as shot, the click from 10 s to 4 s is there"


@pytest.mark.parametrize("preset", Preset)
def test_a_preset_is_one_step_and_stays_pressed_while_it_holds(surveyed: MainWindow, preset: Preset) -> None:
    section, session = surveyed.bench.light, surveyed.session
    before, button = session.project.light, section.presets[preset]
    assert _pressed(surveyed) == [], "the settings of a new project are nobody's but their own"
    button.click()
    assert preset_of(session.project.light) is preset
    assert _pressed(surveyed) == [preset]
    button.click()
    assert _pressed(surveyed) == [preset], "pressed once more it still holds"
    assert session.undo_stack.count() == 1
    session.edit("", change_light(even=True, sky_kept=0.33))
    assert _pressed(surveyed) == []
    session.undo_stack.undo()
    assert _pressed(surveyed) == [preset]
    session.undo_stack.undo()
    assert session.project.light == before


def _pressed(window: MainWindow) -> list[Preset]:
    return [preset for preset, button in window.bench.light.presets.items() if button.isChecked()]
