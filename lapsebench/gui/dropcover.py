"""A window that folders may be dropped on, and the cover that shows where: anywhere."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QMimeData, QRectF, Qt, Signal
from PySide6.QtGui import QColor, QDragEnterEvent, QDragLeaveEvent, QDropEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QMainWindow, QWidget


def dropped_paths(mime: QMimeData) -> list[Path]:
    """Return the local folders and files that are being dropped."""
    return [Path(url.toLocalFile()) for url in mime.urls() if url.isLocalFile()]


class DropCover(QWidget):
    """Shown while something that can be opened is held over the window."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self._window = parent
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.hide()

    def cover(self) -> None:
        """Lie over the whole window."""
        self.setGeometry(self._window.rect())
        self.raise_()
        self.show()

    def paintEvent(self, _event: QPaintEvent, /) -> None:
        """Draw a dashed frame and what will happen."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), QColor(0, 0, 0, 150))
        painter.setPen(QPen(self.palette().highlight().color(), 3, Qt.PenStyle.DashLine))
        painter.drawRoundedRect(QRectF(self.rect()).adjusted(14, 14, -14, -14), 12, 12)
        font = painter.font()
        font.setPointSizeF(font.pointSizeF() * 1.8)
        painter.setFont(font)
        painter.setPen(QColor("white"))
        painter.drawText(self.rect(), Qt.AlignmentFlag.AlignCenter, self.tr("Let go to open"))


class DropWindow(QMainWindow):
    """A main window that tells of the paths dropped on it."""

    dropped = Signal(object)

    def __init__(self) -> None:
        super().__init__()
        self.setAcceptDrops(True)
        self._cover = DropCover(self)

    def dragEnterEvent(self, event: QDragEnterEvent, /) -> None:
        """Show that folders and files may be dropped."""
        if dropped_paths(event.mimeData()):
            event.acceptProposedAction()
            self._cover.cover()

    def dragLeaveEvent(self, _event: QDragLeaveEvent, /) -> None:
        """Take the cover away."""
        self._cover.hide()

    def dropEvent(self, event: QDropEvent, /) -> None:
        """Tell what was dropped."""
        self._cover.hide()
        paths = dropped_paths(event.mimeData())
        if paths:
            event.acceptProposedAction()
            self.dropped.emit(paths)
