"""Small widgets as they are seen."""

from __future__ import annotations

import pytest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from lapsebench.gui import theme
from lapsebench.gui.sections.base import NamedSlider
from lapsebench.gui.theme import Theme


def filled(slider: NamedSlider) -> list[bool]:
    """Return whether the groove is bright at 5, 15 ... 95 % of its width."""
    shown = slider.slider.grab().toImage()
    places = [round((0.05 + 0.1 * k) * shown.width()) for k in range(10)]
    return [max(shown.pixelColor(x, y).value() for y in range(shown.height())) > 150 for x in places]


@pytest.mark.parametrize(("value", "from_to"), [(0, (0, 0)), (50, (5, 9)), (30, (5, 7)), (-30, (3, 5)), (-50, (1, 5))])
def test_a_two_way_slider_is_filled_from_its_middle(
    qtbot: QtBot, qapp: QApplication, value: int, from_to: tuple[int, int]
) -> None:
    theme.apply(qapp, Theme.DARK)
    slider = NamedSlider("Brightness", (-60, 60), str)
    qtbot.addWidget(slider)
    slider.resize(300, 60)
    slider.set_value(value)
    assert filled(slider) == [from_to[0] <= k < from_to[1] for k in range(10)]


def test_a_one_way_slider_is_filled_from_its_left_end(qtbot: QtBot, qapp: QApplication) -> None:
    theme.apply(qapp, Theme.DARK)
    slider = NamedSlider("Kept", (0, 100), str)
    qtbot.addWidget(slider)
    slider.resize(300, 60)
    slider.set_value(60)
    assert filled(slider) == [k < 6 for k in range(10)]
