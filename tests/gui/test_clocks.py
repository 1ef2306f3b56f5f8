"""Section Frames sets the clocks of two cameras by each other: typed, by one moment, and by the light."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QScrollArea

from lapsebench.core.bodies import Body, offset_s, taken_of
from lapsebench.gui.sections.clocks import ClocksBox
from lapsebench.gui.window import MainWindow

Until = Callable[[Callable[[], bool]], None]
FRAMES = 120
FIRST, SECOND = Body("Orsa T4"), Body("Velmar N2")
"""In the order of their clocks: the first is an hour behind."""


@pytest.fixture
def two(window: MainWindow, tmp_path: Path, until: Until) -> MainWindow:
    """Return the window with frames of two cameras at one time, surveyed, section Frames open."""
    folders = []
    for camera, behind in ((FIRST.camera, 3600), (SECOND.camera, 0)):
        folder = tmp_path / camera
        folder.mkdir()
        folders.append(folder)
        random = np.random.default_rng(len(camera))
        scene = random.uniform(40, 160, (8, 12, 3)).repeat(8, axis=0).repeat(8, axis=1).astype(np.uint8)
        for i in range(FRAMES):
            exif = Image.Exif()
            exif[0x0110] = camera
            marks = exif.get_ifd(0x8769)
            marks[0x9003] = (datetime(2026, 2, 11, 21) + timedelta(seconds=10 * i - behind)).strftime("%Y:%m:%d %H:%M:%S")
            marks[0x829A], marks[0x829D], marks[0x8827] = 8.0 if behind else 4.0, 2.8, 1600
            Image.fromarray(scene).save(folder / f"F{i:04}.jpg", quality=95, exif=exif)
    window.open_paths(folders)
    until(lambda: window.session.film_light is not None and not window.opener.busy)
    window.bench.frames.set_open(True)
    QApplication.processEvents()
    return window


def clocks(window: MainWindow) -> ClocksBox:
    return window.bench.frames.clocks


def press(window: MainWindow, name: str) -> None:
    """Press a button by keyboard."""
    button = getattr(clocks(window), name)
    assert button.isVisible()
    button.setFocus()
    QTest.keyClick(button, Qt.Key.Key_Space)


def see_one_night(window: MainWindow, seed: int = 3) -> None:
    """Give both cameras the light of one night, as surveys of real nights do."""
    session = window.session
    assert session.survey is not None
    walk = np.cumsum(0.2 * np.random.default_rng(seed).standard_normal(FRAMES))
    light = replace(session.survey.light, scene_ev=np.concatenate([walk, walk + 1]))
    session.survey = replace(session.survey, light=light)


def test_one_camera_has_no_clocks_to_set(surveyed: MainWindow) -> None:
    surveyed.bench.frames.set_open(True)
    assert not clocks(surveyed).isVisible()


def test_a_typed_offset_moves_the_camera_and_can_be_undone(two: MainWindow) -> None:
    session, field = two.session, clocks(two).fields[FIRST]
    session.move_to(0)
    before = two.bench.transport.clock.text()
    assert before == "20:00:00"
    field.setFocus()
    field.selectAll()
    QTest.keyClicks(field, "+1:00:00.5")
    QTest.keyClick(field, Qt.Key.Key_Return)
    assert offset_s(session.project.clocks, FIRST) == 3600.5
    assert two.bench.transport.clock.text() == "21:00:00"
    assert "21:00:00" in two.bench.strip.readout.text
    shots = two.bench.shots.view.model()
    assert "21:00–21:19" in shots.index(0, 0).data()
    assert session.project.frames[0].taken == datetime(2026, 2, 11, 20)
    session.undo_stack.undo()
    assert session.project.clocks == ()
    assert field.text() == "+0:00:00"
    assert two.bench.transport.clock.text() == before


def test_what_is_no_offset_is_said_and_changes_nothing(two: MainWindow) -> None:
    field = clocks(two).fields[FIRST]
    field.setFocus()
    field.selectAll()
    QTest.keyClicks(field, "soon")
    QTest.keyClick(field, Qt.Key.Key_Return)
    assert "no offset" in clocks(two).told.text()
    assert field.text() == "+0:00:00"
    assert two.session.undo_stack.count() == 0
    QTest.keyClicks(field, "9")
    QTest.keyClick(field, Qt.Key.Key_Escape)
    assert field.text() == "+0:00:00"


def test_the_same_moment_in_both_sets_the_second_clock(two: MainWindow) -> None:
    session, box = two.session, clocks(two)
    session.move_to(FRAMES + 7)
    press(two, "moment")
    assert "Marked" in box.told.text()
    session.move_to(FRAMES + 9)
    assert not box.moment.isEnabled()
    assert "another camera" in box.moment.toolTip()
    session.move_to(7)
    press(two, "moment")
    assert offset_s(session.project.clocks, FIRST) == 3600 + 2 - 4
    middles = []
    for number in (7, FRAMES + 7):
        frame = session.project.frames[number]
        taken = taken_of(frame, session.project.clocks)
        assert taken is not None
        middles.append(taken + timedelta(seconds=(frame.exposure_s or 0) / 2))
    assert middles[0] == middles[1]
    session.undo_stack.undo()
    assert session.project.clocks == ()


def test_a_marked_frame_can_be_let_go(two: MainWindow) -> None:
    press(two, "moment")
    press(two, "drop")
    assert clocks(two).moment.text() == "Same moment…"
    assert not clocks(two).told.isVisible()
    assert two.session.undo_stack.count() == 0


def test_the_light_proposes_and_nothing_is_set_before_it_is_applied(two: MainWindow) -> None:
    session, box = two.session, clocks(two)
    see_one_night(two)
    press(two, "light")
    assert SECOND.camera in box.told.text()
    assert "give or take" in box.told.text()
    assert session.project.clocks == ()
    press(two, "apply")
    assert offset_s(session.project.clocks, SECOND) == pytest.approx(-3600 + 2, abs=3)
    assert not box.apply.isVisible()
    press(two, "light")
    assert "as it is" in box.told.text()
    assert not box.apply.isVisible()
    session.undo_stack.undo()
    assert session.project.clocks == ()


def test_a_proposal_can_be_declined_and_ends_with_the_clocks_it_was_for(two: MainWindow) -> None:
    box = clocks(two)
    see_one_night(two)
    press(two, "light")
    press(two, "drop")
    assert not box.apply.isVisible()
    assert two.session.undo_stack.count() == 0
    press(two, "light")
    box.fields[FIRST].given.emit(60.0)
    assert not box.apply.isVisible()


def test_still_light_proposes_nothing(two: MainWindow) -> None:
    press(two, "light")
    assert "no clear offset" in clocks(two).told.text()
    assert not clocks(two).apply.isVisible()


def test_the_row_fits_its_panel(two: MainWindow) -> None:
    box = clocks(two)
    panel = next(area for area in two.bench.findChildren(QScrollArea) if area.isAncestorOf(box))
    assert two.bench.frames.minimumSizeHint().width() <= panel.viewport().width()
