"""The page shown while nothing is open: what the program does, and the ways to begin."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from lapsebench.gui.parts import soft_label

_MOST_RECENT = 4
_WIDTH = 440


class StartPage(QWidget):
    """Three ways in: a folder, the demo night, or a drop; and the folders opened last."""

    folder_wanted = Signal()
    demo_wanted = Signal()
    recent_wanted = Signal(object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        middle = QWidget(self)
        middle.setFixedWidth(_WIDTH)
        across = QHBoxLayout(self)
        across.addWidget(middle)
        outer = QVBoxLayout(middle)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.addStretch(2)
        self._column = QVBoxLayout()
        self._column.setSpacing(10)
        outer.addLayout(self._column)
        outer.addStretch(3)
        self._add_words()
        self.open_button = self._button(self.tr("Open a folder of frames…"), primary=True)
        self.open_button.clicked.connect(self.folder_wanted)
        self.demo_button = self._button(self.tr("Open the demo night"))
        self.demo_button.clicked.connect(self.demo_wanted)
        drop = soft_label(self, self.tr("or drop a folder here"))
        drop.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self._column.addWidget(drop)
        self._recent_title = soft_label(self, self.tr("Opened lately"))
        self._recent_title.setContentsMargins(0, 14, 0, 0)
        self._column.addWidget(self._recent_title)
        self._recent = QVBoxLayout()
        self._recent.setSpacing(4)
        self._column.addLayout(self._recent)
        self.recent_buttons: list[QPushButton] = []
        self.show_recent([])

    def show_recent(self, folders: Sequence[Path]) -> None:
        """Offer the folders opened last."""
        for button in self.recent_buttons:
            self._recent.removeWidget(button)
            button.deleteLater()
        self.recent_buttons = [self._recent_button(path) for path in folders[:_MOST_RECENT]]
        self._recent_title.setVisible(bool(folders))

    def _add_words(self) -> None:
        title = QLabel(self.tr("lapsebench"), self)
        title.setProperty("title", True)
        what = QLabel(
            self.tr(
                "Turns a night of northern-lights stills, shot with exposure settings changed by hand, "
                "into film: steady where the camera changed, alive where the sky changed."
            ),
            self,
            wordWrap=True,
        )
        self._column.addWidget(title)
        self._column.addWidget(what)
        self._column.addSpacing(8)

    def _button(self, text: str, *, primary: bool = False) -> QPushButton:
        button = QPushButton(text, self)
        button.setMinimumHeight(40)
        button.setAccessibleName(text)
        button.setProperty("primary", primary)
        self._column.addWidget(button)
        return button

    def _recent_button(self, path: Path) -> QPushButton:
        text = str(path)
        shown = self.fontMetrics().elidedText(text, Qt.TextElideMode.ElideMiddle, _WIDTH - 30)
        button = QPushButton(shown.replace("&", "&&"), self)
        button.setToolTip(text)
        button.setAccessibleName(self.tr("Open {0}").format(text))
        button.clicked.connect(lambda: self.recent_wanted.emit(path))
        self._recent.addWidget(button)
        return button
