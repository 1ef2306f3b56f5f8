"""The cover over the window that shows where a folder may be dropped: anywhere."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QMimeData, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QWidget


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
