"""Colours and shapes of the night strip: the Okabe-Ito palette, with a shape of its own for every colour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pyqtgraph.graphicsItems.ScatterPlotItem import Symbols
from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QColor, QPainterPath, QPen, QTransform

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
    ratio: float = 1.0  # pixels of the screen to a pixel of the window

    def pen(self, colour: QColor, width: float, *, dashes: Sequence[float] = ()) -> QPen:
        """Return the pen of a line that is `width` pixels wide at any zoom."""
        pen = QPen(colour, width * self.ratio)
        pen.setCosmetic(True)
        pen.setCapStyle(Qt.PenCapStyle.FlatCap)
        pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
        if dashes:
            pen.setDashPattern(dashes)
        return pen


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


def _boxes(*boxes: tuple[float, float, float, float]) -> QPainterPath:
    path = QPainterPath()
    for box in boxes:
        path.addRect(QRectF(*box))
    return path


def _cross() -> QPainterPath:
    """Return a cross with broad arms, which keeps its colour at the size of a mark."""
    bars = _boxes((-0.52, -0.16, 1.04, 0.32)).united(_boxes((-0.16, -0.52, 0.32, 1.04)))
    return QTransform().rotate(45).map(bars)


def _error_bar() -> QPainterPath:
    """Return a bar with a cap at either end."""
    caps = _boxes((-0.45, -0.6, 0.9, 0.3), (-0.45, 0.3, 0.9, 0.3))
    return caps.united(_boxes((-0.16, -0.6, 0.32, 1.2)))


FAULT_MARKS: dict[Fault, tuple[QColor, QPainterPath]] = {
    Fault.UNREADABLE: (VERMILLION, _cross()),
    Fault.STRAY_LIGHT: (YELLOW, Symbols["star"]),
    Fault.BUMPED: (QColor("#C9B79C"), Symbols["d"]),
    Fault.BLOWN: (ORANGE, Symbols["t1"]),
    Fault.BLACK: (QColor("#7A7E85"), Symbols["t"]),
    Fault.GAP: (SKY, _boxes((-0.4, -0.5, 0.25, 1), (0.15, -0.5, 0.25, 1))),
    Fault.DUPLICATE: (PURPLE, _boxes((-0.5, -0.5, 0.65, 0.65), (-0.15, -0.15, 0.65, 0.65))),
    Fault.ODD_SIZE: (GREEN, _boxes((-0.5, -0.28, 1, 0.56))),
    Fault.METADATA: (BLUE, Symbols["p"]),
    Fault.UNCERTAIN: (QColor("#FFFFFF"), _error_bar()),
}
"""Colour and shape (about the origin, one across) of the mark of each fault."""


def mark_colour(fault: Fault, style: Style) -> QColor:
    """Return the colour of a fault's mark in a theme: what is white on dark ground is ink on light."""
    return style.film if fault is Fault.UNCERTAIN else FAULT_MARKS[fault][0]


DASHES = (5.0, 2.5)
BAND_ALPHA = 80
"""How much of its colour a band has, of 255."""
MARK_SIZE = 11.0
"""Pixels from side to side of the mark of a fault."""
