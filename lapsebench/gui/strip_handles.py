"""What can be taken hold of on the night strip: in and out handles, pegs and playhead; where they are and how they look."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, auto

import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QFont, QFontMetricsF, QPainterPath, QPen
from PySide6.QtWidgets import QGraphicsPathItem, QGraphicsSimpleTextItem

from lapsebench.core.filmlight import Peg
from lapsebench.gui.strip_model import StripModel
from lapsebench.gui.strip_style import Style
from lapsebench.gui.strip_view import StripView

REACH = 6.0
"""How near the pointer must be to a handle, pixels."""

EAR, EAR_HEIGHT = 8.0, 26.0
PEG_SIZE = 8.0


class Grab(Enum):
    """What a press of the mouse takes hold of."""

    PLAYHEAD = auto()
    TRIM_IN = auto()
    TRIM_OUT = auto()
    PEG = auto()
    PAN = auto()


@dataclass(slots=True)
class Drag:
    """A drag under way: where it began, what was held there, and whether the pointer has moved."""

    grab: Grab
    origin: QPointF
    trim: tuple[int, int]
    left: float
    peg: Peg | None = None
    moved: bool = False


def trim_xs(view: StripView, model: StripModel) -> tuple[float, float]:
    """Return the pixels across of the in and out handles: the outer edges of the first and last frame of the film."""
    first, last = (frame - model.first for frame in model.trim)
    return view.x(first - 0.5), view.x(last + 0.5)


def peg_point(view: StripView, model: StripModel, peg: Peg) -> QPointF:
    """Return the middle of a peg, kept within the plot."""
    y = min(max(view.y(peg.film_ev), view.plot.top()), view.plot.bottom())
    return QPointF(view.x(peg.frame - model.first), y)


def peg_at(view: StripView, model: StripModel, pos: QPointF) -> Peg | None:
    """Return the peg under a point."""
    for peg in model.pegs:
        away = peg_point(view, model, peg) - pos
        if abs(away.x()) + abs(away.y()) <= PEG_SIZE + 3 and view.left <= peg.frame - model.first <= view.right:
            return peg
    return None


def grab_at(view: StripView, model: StripModel, pos: QPointF) -> Grab:
    """Return what a press at a point takes hold of: pegs first, then the nearer handle, else the playhead."""
    if peg_at(view, model, pos):
        return Grab.PEG
    start, end = trim_xs(view, model)
    middle = (start + end) / 2
    for grab, x, ear in ((Grab.TRIM_IN, start, -EAR), (Grab.TRIM_OUT, end, EAR)):
        on_ear = _ear_box(view, x, ear).adjusted(-2, -2, 2, 2).contains(pos)
        own_side = (pos.x() <= middle) == (grab is Grab.TRIM_IN)
        seen = view.plot.left() - 1 <= x <= view.plot.right() + 1
        if seen and (on_ear or (own_side and view.near(pos, x, REACH))):
            return grab
    return Grab.PLAYHEAD


def _ear_box(view: StripView, x: float, ear: float) -> QRectF:
    middle = view.keogram.center().y()
    return QRectF(min(x, x + ear), middle - EAR_HEIGHT / 2, EAR, EAR_HEIGHT)


def _ear(side: float) -> QPainterPath:
    """Return the rounded ear of a handle, one high, on its left side (-1) or right side (1), with a grip in it."""
    reach, grip = EAR / EAR_HEIGHT, 0.45 * side * EAR / EAR_HEIGHT
    path = QPainterPath(QPointF(0, -0.5))
    path.arcTo(QRectF(-reach, -0.5, 2 * reach, 1), 90, -180 * side)
    path.closeSubpath()
    path.moveTo(grip, -0.15)
    path.lineTo(grip, 0.15)
    return path


_STEM = 4.0  # pixels of the playhead's line below the marks
_EARS = (_ear(-1), _ear(1))


class PlayheadTag:
    """The number of the frame under the playhead, in a rounded tag on the time axis."""

    def __init__(self) -> None:
        self.item = QGraphicsPathItem()
        self._text = QGraphicsSimpleTextItem(self.item)

    def set_style(self, style: Style, font: QFont) -> None:
        """Use the colours of a theme."""
        self.item.setPen(QPen(style.ground, 2))
        self.item.setBrush(style.playhead)
        self._text.setBrush(style.edge)
        self._text.setFont(font)

    def show(self, text: str, top: QPointF, height: float) -> QRectF:
        """Hang the tag by its stem from a point; return its box."""
        width = QFontMetricsF(self._text.font()).horizontalAdvance(text) + 12
        tag, path, stem = QRectF(top.x() - width / 2, top.y() + _STEM, width, height), QPainterPath(), QPainterPath()
        path.addRoundedRect(tag, height / 2, height / 2)
        stem.addRect(QRectF(top.x() - 2, top.y() - 1, 4, _STEM + 2))  # as wide as the line and its edge
        self.item.setPath(path.united(stem))
        self._text.setText(text)
        self._text.setPos(tag.center() - self._text.boundingRect().center())
        return tag


class StripGrips:
    """Shade over what is cut, handles and playhead in a box of frames across and pixels down; pegs in one of stops."""

    def __init__(self, frames: pg.ViewBox, stops: pg.ViewBox) -> None:
        self._shades = [pg.LinearRegionItem(movable=False, pen=pg.mkPen(None)) for _ in range(2)]
        self._trims = [pg.InfiniteLine(angle=90) for _ in range(2)]
        self._ears = pg.ScatterPlotItem()
        self._halo, self._playhead = pg.InfiniteLine(angle=90), pg.InfiniteLine(angle=90)
        self._ring, self._pegs = pg.ScatterPlotItem(symbol="o"), pg.ScatterPlotItem(symbol="d")
        self.tag = PlayheadTag()
        for item in (*self._shades, *self._trims, self._ears, self._halo, self._playhead):
            frames.addItem(item, ignoreBounds=True)
        for item in (self._ring, self._pegs):
            stops.addItem(item, ignoreBounds=True)

    def set_style(self, style: Style, font: QFont) -> None:
        """Use the colours of a theme."""
        for shade in self._shades:
            shade.setBrush(style.shade)
        for line, colour, width in (
            *((trim, style.trim, 2) for trim in self._trims),
            (self._halo, style.ground, 3.5),
            (self._playhead, style.playhead, 2),
        ):
            line.setPen(style.pen(colour, width))
        self.tag.set_style(style, font)

    def show(self, model: StripModel, view: StripView, style: Style, chosen: int | None) -> None:
        """Show trim and pegs; `chosen` is the frame of the peg that stands on a ring."""
        start, end = (view.place(x) for x in trim_xs(view, model))
        for shade, (left, right) in zip(self._shades, ((view.left, start), (end, view.right)), strict=True):
            shade.setVisible(left < right)
            shade.setRegion((max(left, view.left), min(right, view.right)))
        ears = [(x, ear) for x, ear in zip((start, end), _EARS, strict=True) if _seen(view, x)]
        for line, x in zip(self._trims, (start, end), strict=True):
            line.setVisible(_seen(view, x))
            line.setValue(x)
        self._ears.setData(
            x=[x for x, _ in ears],
            y=[view.keogram.center().y()] * len(ears),
            symbol=[ear for _, ear in ears],
            size=EAR_HEIGHT,
            brush=style.trim,
            pen=style.pen(style.edge, 1),
        )
        self._show_pegs(model, view, style, chosen)

    def _show_pegs(self, model: StripModel, view: StripView, style: Style, chosen: int | None) -> None:
        pegs = [peg for peg in model.pegs if _seen(view, peg.frame - model.first)]
        for item, held, size, brush, pen in (
            (self._ring, [p for p in pegs if p.frame == chosen], 2 * PEG_SIZE + 7, None, style.pen(style.film, 1.5)),
            (self._pegs, pegs, 2 * PEG_SIZE, style.peg, style.pen(style.edge, 1)),
        ):
            heights = [view.ev(peg_point(view, model, peg).y()) for peg in held]
            item.setData(x=[p.frame - model.first for p in held], y=heights, size=size, brush=brush, pen=pen)

    def show_playhead(self, model: StripModel, view: StripView) -> QRectF:
        """Show the playhead; return the box of its tag, empty where it is out of sight."""
        index = model.playhead - model.first
        seen = view.left <= index <= view.right
        for item in (self._halo, self._playhead, self.tag.item):
            item.setVisible(seen)
        if not seen:
            return QRectF()
        self._halo.setValue(index)
        self._playhead.setValue(index)
        return self.tag.show(f"{index + 1}", QPointF(view.x(index), view.body.bottom()), view.row + 2)


def _seen(view: StripView, place: float) -> bool:
    """Whether a place in the shot is in sight, or on the very edge of it."""
    return view.left - 1e-6 <= place <= view.right + 1e-6
