"""Colours and shapes of the night strip: the Okabe-Ito palette, with a shape of its own for every colour."""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, pi, sin

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPainterPath, QPen, QPolygonF

from lapsebench.core.sequence import Fault

ORANGE, SKY, GREEN, YELLOW = QColor("#E69F00"), QColor("#56B4E9"), QColor("#009E73"), QColor("#F0E442")
BLUE, VERMILLION, PURPLE = QColor("#0072B2"), QColor("#D55E00"), QColor("#CC79A7")


@dataclass(frozen=True, slots=True)
class Style:
    """Colours of one theme."""

    ground: QColor
    plot: QColor
    grid: QColor
    text: QColor
    muted: QColor
    empty: QColor
    edge: QColor
    shade: QColor
    luminance: QColor
    exposure: QColor
    scene: QColor
    film: QColor
    trim: QColor
    playhead: QColor
    peg: QColor


DARK = Style(
    ground=QColor("#1C1E22"),
    plot=QColor("#121316"),
    grid=QColor("#2C2F35"),
    text=QColor("#E4E6EA"),
    muted=QColor("#A6ABB3"),
    empty=QColor("#26292E"),
    edge=QColor("#0A0B0C"),
    shade=QColor(28, 30, 34, 185),
    luminance=SKY,
    exposure=ORANGE,
    scene=GREEN,
    film=QColor("#FFFFFF"),
    trim=QColor("#C9CDD3"),
    playhead=PURPLE,
    peg=YELLOW,
)
LIGHT = Style(
    ground=QColor("#F4F4F2"),
    plot=QColor("#FFFFFF"),
    grid=QColor("#E2E2DE"),
    text=QColor("#1B1C1E"),
    muted=QColor("#5A5D62"),
    empty=QColor("#D9D9D5"),
    edge=QColor("#1B1C1E"),
    shade=QColor(232, 232, 228, 195),
    luminance=BLUE,
    exposure=VERMILLION,
    scene=GREEN,
    film=QColor("#000000"),
    trim=QColor("#4A4D52"),
    playhead=PURPLE,
    peg=YELLOW,
)


def _polygon(*points: tuple[float, float]) -> QPainterPath:
    path = QPainterPath()
    path.addPolygon(QPolygonF([QPointF(x, y) for x, y in points]))
    path.closeSubpath()
    return path


def _round(corners: int, inner: float = 1.0) -> QPainterPath:
    """Return a figure of `corners` points about the origin; `inner` below 1 makes a star."""
    steps = corners if inner == 1.0 else 2 * corners
    turn = [(2 * pi * i / steps - pi / 2, inner if i % 2 and inner != 1.0 else 1.0) for i in range(steps)]
    return _polygon(*((r * cos(a), r * sin(a)) for a, r in turn))


def _boxes(*boxes: tuple[float, float, float, float]) -> QPainterPath:
    path = QPainterPath()
    for box in boxes:
        path.addRect(QRectF(*box))
    return path


def _cross() -> QPainterPath:
    arm, bar = 1.0, 0.36
    a, b = arm - bar, arm
    return _polygon(
        (0, -bar), (a, -b), (b, -a), (bar, 0), (b, a), (a, b), (0, bar), (-a, b), (-b, a), (-bar, 0), (-b, -a), (-a, -b)
    )


FAULT_MARKS: dict[Fault, tuple[QColor, QPainterPath]] = {
    Fault.UNREADABLE: (VERMILLION, _cross()),
    Fault.STRAY_LIGHT: (YELLOW, _round(6, 0.45)),
    Fault.BLOWN: (ORANGE, _polygon((0, -1), (1, 0.8), (-1, 0.8))),
    Fault.BLACK: (QColor("#7A7E85"), _polygon((0, 1), (1, -0.8), (-1, -0.8))),
    Fault.GAP: (SKY, _boxes((-0.8, -1, 0.5, 2), (0.3, -1, 0.5, 2))),
    Fault.DUPLICATE: (PURPLE, _boxes((-1, -1, 1.3, 1.3), (-0.3, -0.3, 1.3, 1.3))),
    Fault.ODD_SIZE: (GREEN, _boxes((-1, -0.55, 2, 1.1))),
    Fault.METADATA: (BLUE, _round(5)),
}
"""Colour and shape (about the origin, reaching 1) of the mark of each fault."""

DIAMOND = _polygon((0, -1), (0.8, 0), (0, 1), (-0.8, 0))


def draw_mark(painter: QPainter, at: QPointF, size: float, *, path: QPainterPath, colour: QColor, edge: QColor) -> None:
    """Draw a shape, `size` pixels from its middle to its tip, with a thin edge that parts it from what lies beneath."""
    painter.save()
    painter.translate(at)
    painter.scale(size, size)
    pen = QPen(edge, 1.0)
    pen.setCosmetic(True)
    pen.setJoinStyle(Qt.PenJoinStyle.MiterJoin)
    painter.setPen(pen)
    painter.setBrush(colour)
    painter.drawPath(path)
    painter.restore()
