"""What is drawn over a picture: what the film cuts off, the divide, and the words in the corners."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRect, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPainterPath, QPen, QPolygonF

_MARK = QColor("#E69F00")


def draw_crop(painter: QPainter, rect: QRectF, kept: QPolygonF) -> None:
    """Dim what lies outside the polygon `kept` of the picture, which lies at `rect`."""
    path = QPainterPath()
    path.addRect(rect)
    path.addPolygon(kept)
    path.closeSubpath()
    painter.fillPath(path, QColor(0, 0, 0, 165))
    painter.setPen(QPen(QColor(255, 255, 255, 140), 1))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawPolygon(kept)


def draw_mark(painter: QPainter, part: QPolygonF) -> None:
    """Draw the outline of a part of the picture that something is said of."""
    painter.setBrush(Qt.BrushStyle.NoBrush)
    for colour, width in ((QColor(0, 0, 0, 190), 5), (_MARK, 2)):
        painter.setPen(QPen(colour, width, Qt.PenStyle.SolidLine if width == 5 else Qt.PenStyle.DashLine))
        painter.drawPolygon(part)


def draw_divide(painter: QPainter, edge: float, height: float) -> None:
    """Draw the line at `edge` over the view's height, and its handle."""
    painter.setPen(QPen(QColor(0, 0, 0, 160), 3))
    painter.drawLine(QPointF(edge, 0), QPointF(edge, height))
    painter.setPen(QPen(QColor("white"), 1.2))
    painter.drawLine(QPointF(edge, 0), QPointF(edge, height))
    middle = QPointF(edge, height / 2)
    painter.setBrush(QColor(20, 26, 32, 230))
    painter.drawRoundedRect(QRectF(middle.x() - 6, middle.y() - 16, 12, 32), 6, 6)
    for shift in (-2.0, 2.0):
        painter.drawLine(middle + QPointF(shift, -6), middle + QPointF(shift, 6))


def draw_pill(painter: QPainter, view: QRect, text: str, *, left: bool) -> None:
    """Draw words on a dark ground in a lower corner of the view."""
    width = painter.fontMetrics().horizontalAdvance(text) + 16
    height = painter.fontMetrics().height() + 6
    x = 8 if left else view.width() - width - 8
    box = QRectF(x, view.height() - height - 8, width, height)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(QColor(0, 0, 0, 190))
    painter.drawRoundedRect(box, 4, 4)
    painter.setPen(QColor("white"))
    painter.drawText(box, Qt.AlignmentFlag.AlignCenter, text)
