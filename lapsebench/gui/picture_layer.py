"""What lies over the picture to be dragged and keyed: as large as its view, drawn anew as the focus comes and goes."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QObject, Qt
from PySide6.QtGui import QFocusEvent
from PySide6.QtWidgets import QWidget

from lapsebench.gui.picture import PictureView


class PictureLayer(QWidget):
    """Takes mouse and keys over the picture, hidden at first; what a subclass ignores goes on to the picture below."""

    def __init__(self, view: PictureView) -> None:
        super().__init__(view)
        self._view = view
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setMouseTracking(True)
        self.hide()
        view.installEventFilter(self)

    def focusInEvent(self, event: QFocusEvent, /) -> None:
        """Show what the keys move."""
        super().focusInEvent(event)
        self._view.update()

    def focusOutEvent(self, event: QFocusEvent, /) -> None:
        """Show that the keys go elsewhere."""
        super().focusOutEvent(event)
        self._view.update()

    def eventFilter(self, watched: QObject, event: QEvent, /) -> bool:
        """Stay as large as the picture's view."""
        if event.type() == QEvent.Type.Resize:
            self.setGeometry(self._view.rect())
        return super().eventFilter(watched, event)
