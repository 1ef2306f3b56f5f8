"""A section that opens and closes, and the small controls that sections are made of."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QSignalBlocker, Qt, Signal
from PySide6.QtWidgets import QGridLayout, QLabel, QSizePolicy, QSlider, QToolButton, QVBoxLayout, QWidget

from lapsebench.gui.parts import TwoWaySlider, label_for, soft_label


class Section(QWidget):
    """A titled part of the panel; closed, it keeps a one-line summary under its title."""

    def __init__(self, title: str, key: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.key = key
        self.title = title
        self.header = QToolButton(self)
        self.header.setText(title)
        self.header.setCheckable(True)
        self.header.setChecked(True)
        self.header.setObjectName("sectionHeader")
        self.header.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
        self.header.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.header.setAccessibleName(title)
        self.header.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.summary = soft_label(self)
        self.summary.setContentsMargins(24, 0, 4, 6)
        self.body = QWidget(self)
        self.content = QVBoxLayout(self.body)
        self.content.setContentsMargins(10, 0, 6, 10)
        self.content.setSpacing(6)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(0)
        for widget in (self.header, self.summary, self.body):
            layout.addWidget(widget)
        self.header.toggled.connect(self._open)
        self._open(True)

    def set_open(self, is_open: bool) -> None:
        """Open or close the section."""
        self.header.setChecked(is_open)

    @property
    def is_open(self) -> bool:
        """Whether the section's controls are shown."""
        return self.header.isChecked()

    def summarise(self, text: str) -> None:
        """Set the one line that is shown while the section is closed."""
        self.summary.setText(text)
        self.header.setAccessibleDescription(text)

    def _open(self, is_open: bool) -> None:
        self.header.setArrowType(Qt.ArrowType.DownArrow if is_open else Qt.ArrowType.RightArrow)
        self.body.setVisible(is_open)
        self.summary.setVisible(not is_open)


class NamedSlider(QWidget):
    """A slider under its name and value. Values are whole steps; `show` turns a step into words."""

    moved = Signal(int)
    taken = Signal()
    released = Signal()

    def __init__(
        self, name: str, span: tuple[int, int], show: Callable[[int], str], parent: QWidget | None = None, *, page: int = 10
    ) -> None:
        super().__init__(parent)
        self._show = show
        self.slider = (TwoWaySlider if span[0] < 0 else QSlider)(Qt.Orientation.Horizontal, self)
        self.slider.setRange(*span)
        self.slider.setPageStep(page)
        self.slider.setAccessibleName(name.replace("&", ""))
        label = label_for(name, self.slider, self)
        self.value_label = QLabel(self, alignment=Qt.AlignmentFlag.AlignRight)
        layout = QGridLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setVerticalSpacing(1)
        layout.addWidget(label, 0, 0)
        layout.addWidget(self.value_label, 0, 1)
        layout.addWidget(self.slider, 1, 0, 1, 2)
        layout.setColumnStretch(0, 1)
        self.slider.valueChanged.connect(self._moved)
        self.slider.sliderPressed.connect(self.taken)
        self.slider.sliderReleased.connect(self.released)
        self._tell(self.slider.value())

    def set_value(self, value: int) -> None:
        """Show a value without telling that it was moved."""
        with QSignalBlocker(self.slider):
            self.slider.setValue(value)
        self._tell(value)

    def _moved(self, value: int) -> None:
        self._tell(value)
        self.moved.emit(value)

    def _tell(self, value: int) -> None:
        text = self._show(value)
        self.value_label.setText(text)
        self.slider.setAccessibleDescription(text)
