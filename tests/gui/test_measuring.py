"""Section Light fits its panel, and what is seldom touched is folded away under a heading that says its state."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtWidgets import QApplication, QScrollArea

from lapsebench.core.area import AreaKind
from lapsebench.gui.window import MainWindow

Until = Callable[[Callable[[], bool]], None]


def test_section_light_is_no_wider_than_its_panel(surveyed: MainWindow) -> None:
    light = surveyed.bench.light
    light.measuring.set_open(True)
    QApplication.processEvents()
    panel = next(area for area in surveyed.bench.findChildren(QScrollArea) if area.isAncestorOf(light))
    viewport = panel.viewport()
    assert light.minimumSizeHint().width() <= viewport.width()
    for widget in (light.measuring.curve.show_curve, light.measuring.curve.use, light.measuring.area.kind, light.remove):
        assert widget.mapTo(viewport, widget.rect().topRight()).x() < viewport.width()


def test_closed_measuring_says_its_state(surveyed: MainWindow, until: Until) -> None:
    measuring, session = surveyed.bench.light.measuring, surveyed.session
    assert not measuring.is_open
    assert measuring.summary.isVisible()
    assert measuring.summary.text() == "Whole picture, sRGB curve"
    measuring.area.kind_chosen.emit(AreaKind.RECTANGLE)
    until(lambda: measuring.summary.text() == "Rectangle, sRGB curve")
    session.undo_stack.undo()
    assert measuring.summary.text() == "Whole picture, sRGB curve"


def test_the_view_menu_shows_the_area(surveyed: MainWindow) -> None:
    action, area = surveyed.menus.actions["area"], surveyed.bench.light.measuring.area
    assert not action.isEnabled()
    area.kind_chosen.emit(AreaKind.ELLIPSE)
    assert action.isEnabled()
    assert action.isChecked()
    action.trigger()
    assert not surveyed.area_layer.isVisible()
    area.show_box.click()
    assert action.isChecked()
    assert surveyed.area_layer.isVisible()
