"""Small widgets made alike everywhere: buttons, labels with their control, lists, soft words, two-way sliders."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QFrame,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QSlider,
    QStyle,
    QStyleOptionSlider,
    QWidget,
)


def push_button(text: str, parent: QWidget, *, spoken: str = "", checkable: bool = False) -> QPushButton:
    """Return a button that a click doesn't give the focus to, so that Space goes on playing; `spoken` is its full name."""
    button = QPushButton(text, parent)
    button.setCheckable(checkable)
    button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
    button.setAccessibleName(spoken or text.replace("&", ""))
    return button


def button_row(*buttons: QPushButton) -> QHBoxLayout:
    """Return buttons side by side."""
    row = QHBoxLayout()
    row.setSpacing(4)
    for button in buttons:
        row.addWidget(button)
    return row


def label_for(text: str, control: QWidget, parent: QWidget) -> QLabel:
    """Return the label of a control; its mnemonic goes to the control."""
    label = QLabel(text, parent)
    label.setBuddy(control)
    return label


def soft_label(parent: QWidget, text: str = "") -> QLabel:
    """Return a label for what is worth knowing but not first."""
    label = QLabel(text, parent, wordWrap=True, textFormat=Qt.TextFormat.PlainText)
    label.setProperty("soft", True)
    return label


def rule(parent: QWidget) -> QFrame:
    """Return a thin line across a panel."""
    line = QFrame(parent)
    line.setProperty("rule", True)
    line.setFixedHeight(1)
    return line


def single_choice(view: QAbstractItemView, name: str) -> None:
    """Let one row of a list be chosen."""
    view.setAccessibleName(name)
    view.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
    view.setAcceptDrops(False)


class TwoWaySlider(QSlider):
    """A level slider of values on either side of 0: its groove is filled from 0 to the handle."""

    def paintEvent(self, _event: QPaintEvent, /) -> None:
        """Draw groove and handle, the groove in three parts: a style fills it from one of its ends only."""
        option = QStyleOptionSlider()
        self.initStyleOption(option)
        home, here = self._place(option, 0), self._place(option, self.sliderPosition())
        first, last = min(home, here), max(home, here)
        painter = QPainter(self)
        for left, right, filled_to, from_right in (
            (0, first, self.minimum(), True),
            (first, last, self.maximum(), False),
            (last, self.width(), self.minimum(), False),
        ):
            painter.setClipRect(left, 0, right - left, self.height())
            option.sliderPosition, option.upsideDown = filled_to, from_right
            self._draw(painter, option, QStyle.SubControl.SC_SliderGroove)
        painter.setClipping(False)
        self.initStyleOption(option)
        self._draw(painter, option, QStyle.SubControl.SC_SliderHandle)
        painter.end()

    def _place(self, option: QStyleOptionSlider, position: int) -> int:
        """Return where the middle of the handle is at a position, px."""
        option.sliderPosition = position
        kind, handle = QStyle.ComplexControl.CC_Slider, QStyle.SubControl.SC_SliderHandle
        return self.style().subControlRect(kind, option, handle, self).center().x()

    def _draw(self, painter: QPainter, option: QStyleOptionSlider, part: QStyle.SubControl) -> None:
        option.subControls = part
        self.style().drawComplexControl(QStyle.ComplexControl.CC_Slider, option, painter, self)
