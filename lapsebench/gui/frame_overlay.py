"""How the film's frame is drawn over the picture: the end that is dragged, the other one, and a grid to straighten by."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPen, QPolygonF

from lapsebench.gui.frame_grips import middle_of
from lapsebench.gui.strip_style import ORANGE

_EDGE, _GRID = QColor(0, 0, 0, 190), QColor(255, 255, 255, 110)
_SQUARE = 5.0  # pixels from the middle of a corner's square to its edge
_LINES = 12  # of the grid, across the frame


def draw_frame(painter: QPainter, corners: QPolygonF, *, focused: bool) -> None:
    """Draw the frame that is dragged and its squares, which are white while keys move it."""
    painter.setBrush(Qt.BrushStyle.NoBrush)
    for pen in (QPen(_EDGE, 4), QPen(ORANGE, 2)):
        painter.setPen(pen)
        painter.drawPolygon(corners)
    size = _SQUARE + (1.5 if focused else 0)
    painter.setPen(QPen(_EDGE, 1.5))
    painter.setBrush(QColor("white") if focused else ORANGE)
    for spot in corners.toList():
        painter.drawRect(QRectF(spot.x() - size, spot.y() - size, 2 * size, 2 * size))
    painter.drawEllipse(middle_of(corners), size, size)


def draw_other(painter: QPainter, other: QPolygonF, corners: QPolygonF, words: str) -> None:
    """Draw the other end thin and dashed with its name, and the line between its middle and that of the one dragged."""
    painter.setBrush(Qt.BrushStyle.NoBrush)
    for pen in (QPen(_EDGE, 2.5), QPen(ORANGE, 1, Qt.PenStyle.DashLine)):
        painter.setPen(pen)
        painter.drawPolygon(other)
        painter.drawLine(middle_of(other), middle_of(corners))
    metrics = painter.fontMetrics()
    corner = other.at(0) + QPointF(3, 3)
    box = QRectF(corner.x(), corner.y(), metrics.horizontalAdvance(words) + 8, metrics.height() + 2)
    painter.fillRect(box, _EDGE)
    painter.setPen(ORANGE)
    painter.drawText(box, Qt.AlignmentFlag.AlignCenter, words)


def draw_grid(painter: QPainter, corners: QPolygonF) -> None:
    """Draw lines along both sides of a frame."""
    painter.setPen(QPen(_GRID, 1))
    top_left, top_right, bottom_left = corners.at(0), corners.at(1), corners.at(3)
    along, down = top_right - top_left, bottom_left - top_left
    for k in range(1, _LINES):
        share = k / _LINES
        painter.drawLine(top_left + along * share, bottom_left + along * share)
        painter.drawLine(top_left + down * share, top_right + down * share)
