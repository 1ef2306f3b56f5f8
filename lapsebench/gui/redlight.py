"""Turns what a widget shows to shades of red, so that eyes used to the dark stay so."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QImage, QPainter, QPixmap, QTransform
from PySide6.QtWidgets import QGraphicsEffect, QWidget

_GREEN_SHARE, _BLUE_SHARE = 0.22, 0.17


class RedLight(QGraphicsEffect):
    """Draws its widget by the strongest channel alone, in red on black: ink keeps its contrast whatever its colour."""

    def draw(self, painter: QPainter, /) -> None:
        """Draw the widget's picture in red."""
        offset = QPoint()
        image = reddened(self.sourcePixmap(Qt.CoordinateSystem.DeviceCoordinates, offset))
        painter.save()
        painter.setWorldTransform(QTransform())
        painter.drawImage(offset, image)
        painter.restore()


def reddened(source: QPixmap) -> QImage:
    """Return a picture in shades of red on black."""
    image = QImage(source.size(), QImage.Format.Format_RGB32)
    image.fill(Qt.GlobalColor.black)
    image.setDevicePixelRatio(source.devicePixelRatio())
    painter = QPainter(image)
    painter.drawPixmap(0, 0, source)
    painter.end()
    pixels = np.frombuffer(image.bits(), np.uint8).reshape(image.height(), image.bytesPerLine() // 4, 4)  # blue first
    strongest = pixels[..., :3].max(axis=2)
    for channel, share in enumerate((_BLUE_SHARE, _GREEN_SHARE, 1.0)):
        pixels[..., channel] = (strongest * share).astype(np.uint8)
    return image


def set_red_light(widget: QWidget, on: bool) -> None:
    """Show a widget in red, or as it is."""
    if on and widget.graphicsEffect() is None:
        widget.setGraphicsEffect(RedLight(widget))
    elif not on and widget.graphicsEffect() is not None:
        widget.setGraphicsEffect(None)  # type: ignore[arg-type]
