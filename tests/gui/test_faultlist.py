"""The list of faults: why a frame can't be read, nothing that can't be done, one row for a run of uncertain frames."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from PySide6.QtCore import QModelIndex, QRect, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QStyle, QStyleOptionViewItem

from lapsebench.core.project import Project
from lapsebench.core.sequence import Fault, Frame, Shot
from lapsebench.gui.sections.frames import fault_rows
from lapsebench.gui.strip_menu import FrameMenu
from lapsebench.gui.theme import Theme
from lapsebench.gui.window import MainWindow

Until = Callable[[Callable[[], bool]], None]
BROKEN, LEFT_OUT = 5, 8


@pytest.fixture
def broken(window: MainWindow, night: Path, until: Until) -> MainWindow:
    """Return the window with a night open of which one frame is cut short and another left out by hand."""
    path = night / f"F{BROKEN:04d}.jpg"
    path.write_bytes(path.read_bytes()[:700])
    window.open_paths([night])
    until(lambda: window.session.survey is not None and not window.opener.busy)
    window.session.toggle_frame(LEFT_OUT)
    window.bench.frames.set_open(True)
    return window


def row(window: MainWindow, number: int) -> QModelIndex:
    """Return the list's row of a frame."""
    model = window.bench.frames.model
    return model.index(next(k for k, row in enumerate(model.rows) if number in row))


def check_box(window: MainWindow, number: int) -> QRect:
    """Return where the check box of a frame is in the list."""
    view, option = window.bench.frames.list, QStyleOptionViewItem()
    option.initFrom(view)
    option.rect = view.visualRect(row(window, number))
    option.features = QStyleOptionViewItem.ViewItemFeature.HasCheckIndicator
    return view.style().subElementRect(QStyle.SubElement.SE_ItemViewItemCheckIndicator, option, view)


def click_check(window: MainWindow, number: int) -> None:
    """Click the check box of a frame."""
    viewport = window.bench.frames.list.viewport()
    QTest.mouseClick(viewport, Qt.MouseButton.LeftButton, pos=check_box(window, number).center())


def test_the_line_and_its_tooltip_say_why(broken: MainWindow) -> None:
    frame, line = broken.session.project.frames[BROKEN], row(broken, BROKEN)
    assert frame.problem.startswith(f"{frame.path.name} ")
    assert line.data(Qt.ItemDataRole.ToolTipRole).endswith(frame.problem)
    reason = frame.problem.removeprefix(f"{frame.path.name} ")
    assert line.data() == line.data(Qt.ItemDataRole.AccessibleTextRole) == f"{BROKEN + 1}   unreadable: {reason}"
    assert "left out by you" in row(broken, LEFT_OUT).data()


def test_its_check_is_dimmed_and_does_nothing(broken: MainWindow) -> None:
    section, check = broken.bench.frames, Qt.ItemDataRole.CheckStateRole
    for number, live in ((BROKEN, False), (LEFT_OUT, True)):
        option = QStyleOptionViewItem()
        option.state = QStyle.StateFlag.State_Enabled
        section.delegate.initStyleOption(option, row(broken, number))
        assert bool(option.state & QStyle.StateFlag.State_Enabled) is live
    before = broken.session.undo_stack.count()
    assert not section.model.setData(row(broken, BROKEN), Qt.CheckState.Checked.value, check)
    click_check(broken, BROKEN)
    assert broken.session.undo_stack.count() == before
    click_check(broken, LEFT_OUT)
    assert broken.session.undo_stack.count() == before + 1
    assert BROKEN not in broken.session.used


def test_nothing_else_offers_to_take_it_in(broken: MainWindow) -> None:
    section, session, strip = broken.bench.frames, broken.session, broken.bench.strip
    section.list.setCurrentIndex(row(broken, BROKEN))
    assert session.playhead == BROKEN
    assert not section.toggle.isEnabled()
    assert section.toggle.toolTip() == session.project.frames[BROKEN].problem
    assert not broken.menus.actions["toggle frame"].isEnabled()
    menu = FrameMenu(strip.canvas, BROKEN)
    assert not menu.actions()[0].isEnabled()
    menu.deleteLater()
    session.move_to(LEFT_OUT)
    assert section.toggle.isEnabled()
    assert section.toggle.toolTip() == ""
    assert broken.menus.actions["toggle frame"].isEnabled()


@pytest.mark.parametrize("theme", [Theme.DARK, Theme.LIGHT])
def test_an_empty_check_box_is_seen(broken: MainWindow, theme: Theme) -> None:
    broken.set_theme(theme)
    box = check_box(broken, LEFT_OUT)
    seen = broken.bench.frames.list.viewport().grab().toImage()
    row_of_pixels = [seen.pixelColor(x, box.center().y()).lightness() for x in range(box.left() - 2, box.right() + 3)]
    assert max(row_of_pixels) - min(row_of_pixels) > 40
    broken.set_theme(Theme.DARK)


def test_a_run_of_uncertain_frames_is_one_row() -> None:
    frames = [Frame(Path(f"{i}.jpg")) for i in range(200)]
    for i in range(60, 160):
        frames[i] = replace(frames[i], faults=frozenset({Fault.UNCERTAIN}))
    frames[64] = replace(frames[64], faults=frozenset())
    frames[70] = replace(frames[70], faults=frozenset({Fault.BLOWN}))
    frames[71] = replace(frames[71], faults=frozenset({Fault.BLOWN}))
    frames[18] = frames[19] = frames[21] = frames[60]
    project = Project(frames=tuple(frames), shots=(Shot(0, 19), Shot(20, 199)), left_out=frozenset({100}))
    rows = fault_rows(project)
    sure, blown = {64}, {70, 71}
    assert rows == [
        (18, 19),
        (21,),
        tuple(i for i in range(60, 70) if i not in sure),
        *((i,) for i in sorted(blown)),
        tuple(range(72, 100)),
        (100,),
        tuple(range(101, 160)),
    ]


def test_a_row_of_frames_is_left_out_as_one_step(surveyed: MainWindow) -> None:
    session, section = surveyed.session, surveyed.bench.frames
    assert session.survey is not None
    survey = session.survey
    frames = list(survey.project.frames)
    error = survey.light.error_ev.copy()
    for i in range(3, 7):
        frames[i] = replace(frames[i], faults=frozenset({Fault.UNCERTAIN}))
        error[i] = 0.03 + 0.001 * i
    light = replace(survey.light, error_ev=error)
    session.finish_survey(replace(survey, project=replace(survey.project, frames=tuple(frames)), light=light))
    index = section.model.index(0)
    assert section.model.rowCount() == 1
    assert index.data().replace("\N{NO-BREAK SPACE}", " ") == "4–7   exposure uncertain ± 0.07 stop"
    hint = index.data(Qt.ItemDataRole.ToolTipRole)
    assert hint.startswith("4 frames, F0003.jpg to F0006.jpg\n")
    assert "peg" in hint
    section.list.setCurrentIndex(index)
    assert session.playhead == 3
    section.model.setData(index, Qt.CheckState.Unchecked.value, Qt.ItemDataRole.CheckStateRole)
    assert session.project.left_out == {3, 4, 5, 6}
    assert "left out by you" in section.model.index(0).data()
    session.undo_stack.undo()
    assert session.project.left_out == frozenset()
    assert section.model.index(0).data(Qt.ItemDataRole.CheckStateRole) == Qt.CheckState.Checked
