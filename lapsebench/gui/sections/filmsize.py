"""The part of section Film for its size: as the frames, a usual size, or an own one."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QSignalBlocker, Signal
from PySide6.QtGui import QStandardItemModel
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QLabel, QSpinBox, QWidget

from lapsebench.core.project import Project
from lapsebench.services.filmplan import film_plan, refused_size

BOXES = ((7680, 4320), (3840, 2160), (2560, 1440), (1920, 1080), (1280, 720))
"""Film sizes offered besides the source's own."""
_SOURCE, _OWN = 0, 1 + len(BOXES)


class SizeChoice(QComboBox):
    """The sizes; those that the format can't have can't be chosen. Choosing tells settings (a size or None, exact)."""

    picked = Signal(object, bool)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setMinimumContentsLength(8)
        self._framed = BOXES[0]
        called = (self.tr("8K"), self.tr("4K"), self.tr("1440p"), self.tr("1080p"), self.tr("720p"))
        boxes = [f"{name} ({width} × {height})" for name, (width, height) in zip(called, BOXES, strict=True)]
        self.addItems([self.tr("as the frames"), *boxes, self.tr("own size…")])
        self.activated.connect(self._choose)

    def show_size(self, project: Project, used: Sequence[int]) -> None:
        """Show the size of the project's film, and which others its format can't have."""
        film = project.film
        self._framed = film_plan(project, used).size
        index = _OWN if is_own(project) else _SOURCE if film.size is None else 1 + BOXES.index(film.size)
        self.setCurrentIndex(index)
        model = self.model()
        if isinstance(model, QStandardItemModel):
            for place, box in enumerate(BOXES, start=1):
                why = refused_size(project, used, box)
                model.item(place).setEnabled(not why)
                model.item(place).setToolTip(why)

    def _choose(self, index: int) -> None:
        if index == _OWN:
            self.picked.emit(self._framed, True)
        else:
            self.picked.emit(None if index == _SOURCE else BOXES[index - 1], False)


class OwnSize(QWidget):
    """Two fields for width and height in pixels."""

    changed = Signal(int, int)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        self.width_spin, self.height_spin = self._spin(self.tr("Film width")), self._spin(self.tr("Film height"))
        row.addWidget(self.width_spin, 1)
        row.addWidget(QLabel("×", self))
        row.addWidget(self.height_spin, 1)

    def show_size(self, project: Project) -> None:
        """Show the own size of the project's film; hidden where it has another."""
        size = project.film.size
        self.setVisible(is_own(project))
        if is_own(project) and size is not None:
            for spin, pixels in ((self.width_spin, size[0]), (self.height_spin, size[1])):
                with QSignalBlocker(spin):
                    spin.setValue(pixels)

    def _spin(self, name: str) -> QSpinBox:
        spin = QSpinBox(self, minimum=16, maximum=8192, singleStep=2)
        spin.setKeyboardTracking(False)
        spin.setAccessibleName(name)
        spin.valueChanged.connect(lambda _: self.changed.emit(self.width_spin.value(), self.height_spin.value()))
        return spin


def is_own(project: Project) -> bool:
    """Return whether the film has a size of its own."""
    film = project.film
    return film.size is not None and (film.exact or film.size not in BOXES)
