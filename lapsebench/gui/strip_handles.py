"""What can be taken hold of on the night strip: in and out handles, pegs and playhead; where they are and how they look."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, auto

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QFontMetricsF, QPainter, QPainterPath, QPen

from lapsebench.core.filmlight import Peg
from lapsebench.gui.strip_model import StripModel
from lapsebench.gui.strip_style import DIAMOND, Style, draw_mark
from lapsebench.gui.strip_view import StripView

REACH = 6.0
"""How near the pointer must be to a handle, pixels."""

EAR = 8.0
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
    return QRectF(QPointF(min(x, x + ear), middle - 13), QPointF(max(x, x + ear), middle + 13))


def draw_shade(painter: QPainter, view: StripView, model: StripModel, style: Style) -> None:
    """Dim what is trimmed away."""
    body, (start, end) = view.body, trim_xs(view, model)
    if start > body.left():
        painter.fillRect(QRectF(body.topLeft(), QPointF(min(start, body.right()), body.bottom())), style.shade)
    if end < body.right():
        painter.fillRect(QRectF(QPointF(max(end, body.left()), body.top()), body.bottomRight()), style.shade)


def draw_trim(painter: QPainter, view: StripView, model: StripModel, style: Style) -> None:
    """Draw the in and out handles: a line through keogram and plot with a rounded ear on the side that is cut."""
    body = view.body
    for x, ear in zip(trim_xs(view, model), (-EAR, EAR), strict=True):
        if not body.left() - 1 <= x <= body.right() + 1:
            continue
        painter.setPen(QPen(style.trim, 2))
        painter.drawLine(QPointF(x, body.top()), QPointF(x, body.bottom()))
        box = _ear_box(view, x, ear)
        path = QPainterPath(QPointF(x, box.top()))
        path.arcTo(QRectF(x - EAR, box.top(), 2 * EAR, box.height()), 90, 180 if ear < 0 else -180)
        path.closeSubpath()
        painter.setPen(QPen(style.edge, 1))
        painter.setBrush(style.trim)
        painter.drawPath(path)
        grip = x + ear * 0.45
        painter.drawLine(QPointF(grip, box.center().y() - 4), QPointF(grip, box.center().y() + 4))


def draw_pegs(painter: QPainter, view: StripView, model: StripModel, style: Style, chosen: int | None) -> None:
    """Draw the pegs as diamonds; the chosen one stands on a ring."""
    for peg in model.pegs:
        if not view.left <= peg.frame - model.first <= view.right:
            continue
        point = peg_point(view, model, peg)
        if peg.frame == chosen:
            painter.setPen(QPen(style.film, 1.5))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawEllipse(point, PEG_SIZE + 3.5, PEG_SIZE + 3.5)
        draw_mark(painter, point, PEG_SIZE, path=DIAMOND, colour=style.peg, edge=style.edge)


def draw_playhead(painter: QPainter, view: StripView, model: StripModel, style: Style) -> QRectF:
    """Draw the playhead, a line with the frame's number in a tag on the time axis; return the box of the tag."""
    index = model.playhead - model.first
    if not view.left <= index <= view.right:
        return QRectF()
    x, body = view.x(index), view.body
    painter.setPen(QPen(style.ground, 3.5))
    painter.drawLine(QPointF(x, body.top()), QPointF(x, body.bottom()))
    painter.setPen(QPen(style.playhead, 2))
    painter.drawLine(QPointF(x, body.top()), QPointF(x, body.bottom() + 4))
    text = f"{index + 1}"
    width = QFontMetricsF(painter.font()).horizontalAdvance(text) + 12
    tag = QRectF(x - width / 2, body.bottom() + 4, width, view.row + 2)
    painter.setPen(QPen(style.ground, 2))
    painter.setBrush(style.playhead)
    painter.drawRoundedRect(tag, tag.height() / 2, tag.height() / 2)
    painter.setPen(style.edge)
    painter.drawText(tag, Qt.AlignmentFlag.AlignCenter, text)
    return tag
