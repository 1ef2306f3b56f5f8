"""The white balance of RAW shots in the window: chosen, moved, picked and undone."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from dng import Sensor, record, write_dng
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest

from lapsebench.core.balance import BalanceKind
from lapsebench.gui.sections.balance import kelvin_of, step_of
from lapsebench.gui.window import MainWindow

Until = Callable[[Callable[[], bool]], None]
GREEN = (0.12, 0.2, 0.12)


@pytest.fixture
def raw_window(window: MainWindow, tmp_path: Path, until: Until) -> MainWindow:
    """Return the window with six RAW frames open: grey at the left, green at the right."""
    folder = tmp_path / "raw"
    folder.mkdir()
    sensor, random = Sensor(), np.random.default_rng(1)
    light = np.full((96, 144, 3), 0.15)
    light[:, 72:] = GREEN
    for i in range(6):
        codes = record(light, sensor, gain=1.0, random=random)
        write_dng(folder / f"N{i}.dng", codes, sensor, exposure_s=8.0)
    window.open_paths([folder])
    until(lambda: window.session.film_light is not None and not window.opener.busy)
    window.bench.picture_section.set_open(True)
    return window


def shown(window: MainWindow) -> set[tuple[float, float, float] | None]:
    return {frame.shown_balance for frame in window.session.project.frames}


def test_a_night_of_jpegs_has_no_white_balance_to_choose(surveyed: MainWindow) -> None:
    surveyed.bench.picture_section.set_open(True)
    assert not surveyed.bench.picture_section.balance.isVisible()


def test_daylight_is_seen_at_once_and_undone(raw_window: MainWindow, until: Until) -> None:
    window = raw_window
    box, view = window.bench.picture_section.balance, window.bench.picture
    assert box.isVisible()
    assert shown(window) == {None}
    until(lambda: view.before is not None)
    box.kind.setCurrentIndex(2)
    box.kind.activated.emit(2)
    (balance,) = shown(window)
    assert balance is not None
    until(lambda: window.feed._sharp is not None and window.feed._sharp.balance == balance)
    window.session.undo_stack.undo()
    assert shown(window) == {None}
    assert box.kind.currentIndex() == 0


def test_a_drag_of_the_temperature_is_one_step_and_warms_the_picture(raw_window: MainWindow) -> None:
    window, steps = raw_window, raw_window.session.undo_stack
    slider = window.bench.picture_section.balance.kelvin.slider
    slider.sliderPressed.emit()
    for kelvin in (5000, 7000, 9000):
        slider.setValue(step_of(kelvin))
    slider.sliderReleased.emit()
    assert steps.count() == 1
    assert window.session.project.shots[0].balance.kind is BalanceKind.CUSTOM
    assert window.session.project.shots[0].balance.temperature_k == pytest.approx(9000, rel=0.01)
    image = window.bench.picture.before
    assert image is not None
    grey = image.pixelColor(image.width() // 4, image.height() // 2)
    assert grey.red() > grey.blue() + 10


def test_a_click_on_grey_makes_it_grey(raw_window: MainWindow, until: Until) -> None:
    window = raw_window
    box, view = window.bench.picture_section.balance, window.bench.picture
    until(lambda: view.before is not None)
    QTest.mouseClick(box.pick, Qt.MouseButton.LeftButton)
    assert view.picking
    assert box.told.isVisible()
    rect = view.picture_rect()
    spot = QPoint(round(rect.x() + 0.8 * rect.width()), round(rect.y() + 0.4 * rect.height()))
    QTest.mouseClick(view, Qt.MouseButton.LeftButton, pos=spot)
    until(lambda: window.session.project.shots[0].balance.kind is BalanceKind.GREY)
    assert not view.picking
    assert box.kind.currentIndex() == 4
    (balance,) = shown(window)
    until(lambda: window.feed._sharp is not None and window.feed._sharp.balance == balance)
    image = view.before
    assert image is not None
    seen = image.pixelColor(round(0.8 * image.width()), round(0.4 * image.height()))
    assert max(seen.red(), seen.green(), seen.blue()) - min(seen.red(), seen.green(), seen.blue()) <= 4


def test_escape_leaves_the_picking(raw_window: MainWindow) -> None:
    view = raw_window.bench.picture
    QTest.mouseClick(raw_window.bench.picture_section.balance.pick, Qt.MouseButton.LeftButton)
    QTest.keyClick(view, Qt.Key.Key_Escape)
    assert not view.picking
    assert not raw_window.bench.picture_section.balance.pick.isChecked()
    assert shown(raw_window) == {None}


@pytest.mark.parametrize("kelvin", [1500, 2850, 4000, 5500, 6500, 15000])
def test_steps_are_fine_enough_for_any_light(kelvin: float) -> None:
    assert kelvin_of(step_of(kelvin)) == pytest.approx(kelvin, rel=0.005)
