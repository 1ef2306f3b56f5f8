"""Draws the curves of the light plot: dots, staircase, scene light and film light, with gaps where nothing is known."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QColor, QPainter, QPen, QPolygonF

from lapsebench.gui.strip_model import Floats, StripModel
from lapsebench.gui.strip_style import FAULT_MARKS, Style, draw_mark
from lapsebench.gui.strip_view import StripView


def _polygons(xs: Floats, ys: Floats) -> list[QPolygonF]:
    """Return one polygon for each run of finite `ys`."""
    edges = np.flatnonzero(np.diff(np.isfinite(ys).astype(np.int8), prepend=0, append=0))
    return [
        QPolygonF(list(map(QPointF, xs[start:stop].tolist(), ys[start:stop].tolist())))
        for start, stop in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
    ]


def _span_of_pixels(view: StripView, values: Floats, start: int) -> tuple[Floats, Floats, Floats]:
    """Return pixels across, and the least and greatest value of the frames on each, reaching to the pixel before."""
    pixel = np.floor(view.xs(start + np.arange(values.size)))
    starts = np.flatnonzero(np.diff(pixel, prepend=-np.inf))
    low, high = np.fmin.reduceat(values, starts), np.fmax.reduceat(values, starts)
    known = np.isfinite(low)
    low[1:], high[1:] = np.fmin(low[1:], high[:-1]), np.fmax(high[1:], low[:-1])
    return pixel[starts] + 0.5, np.where(known, low, np.nan), np.where(known, high, np.nan)


def band(view: StripView, values: Floats, width: float) -> list[QPolygonF]:
    """Return what is seen of `values` where many frames fall on a pixel: outlines to be filled, `width` pixels at least."""
    first, past = view.visible()
    xs, low, high = _span_of_pixels(view, values[first:past], first)
    tops, bottoms = view.ys(high) - width / 2, view.ys(low) + width / 2
    edges = np.flatnonzero(np.diff(np.isfinite(low).astype(np.int8), prepend=0, append=0))
    outlines: list[QPolygonF] = []
    for start, stop in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        there, back = slice(start, stop), slice(stop - 1, start - 1 if start else None, -1)
        x, y = np.concatenate([xs[there], xs[back]]), np.concatenate([tops[there], bottoms[back]])
        outlines += _polygons(x, y)
    return outlines


def line(view: StripView, values: Floats) -> list[QPolygonF]:
    """Return what is seen of `values` (one a frame, stops) as open lines in pixels, broken where values are NaN."""
    first, past = view.visible()
    start, stop = max(first - 1, 0), min(past + 1, view.count)
    polygons = _polygons(view.xs(np.arange(start, stop)), view.ys(values[start:stop]))
    return [_widened(polygon, view.column) if polygon.size() == 1 else polygon for polygon in polygons]


def _widened(polygon: QPolygonF, width: float) -> QPolygonF:
    """Return a single point as a dash one frame wide, so that a lone frame is seen."""
    point, reach = polygon.at(0), QPointF(max(width / 2, 1.0), 0)
    return QPolygonF([point - reach, point + reach])


def staircase(view: StripView, values: Floats) -> list[QPolygonF]:
    """Return what is seen of `values` as steps: each frame's value is held over its whole width."""
    start, stop = view.visible()
    edges = np.repeat(np.arange(start, stop + 1) - 0.5, 2)[1:-1]
    return _polygons(view.xs(edges), view.ys(np.repeat(values[start:stop], 2)))


def draw_curve(
    painter: QPainter, view: StripView, values: Floats, *, pen: QPen, shape: Callable[[StripView, Floats], list[QPolygonF]]
) -> None:
    """Draw one value a frame, stops, as a line of the given shape, or filled where many frames fall on a pixel."""
    if view.dense:
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(pen.color())
        for outline in band(view, values, pen.widthF()):
            painter.drawPolygon(outline)
    else:
        draw_lines(painter, shape(view, values), pen)


def curve_pen(colour: QColor, width: float, *, dashed: bool = False) -> QPen:
    """Return the pen of a curve."""
    pen = QPen(colour, width)
    pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
    if dashed:
        pen.setDashPattern([5, 2.5])
    return pen


def draw_lines(painter: QPainter, polygons: list[QPolygonF], pen: QPen) -> None:
    """Draw polygons as open lines."""
    painter.setPen(pen)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    for polygon in polygons:
        painter.drawPolyline(polygon)


def dot_size(view: StripView) -> float:
    """Return the diameter of a luminance dot, pixels: smaller where frames stand close."""
    return float(np.clip(view.column * 0.75, 2.0, 5.5))


def draw_dots(painter: QPainter, view: StripView, model: StripModel, style: Style) -> None:
    """Draw the frame luminance: full dots for frames of the film, hollow grey ones for those left out.

    Frames outside the range of the plot stand at its edge.
    """
    start, stop = view.visible()
    values, used = model.luminance[start:stop], model.used[start:stop]
    size = dot_size(view)
    known = np.isfinite(values)
    xs = view.xs(np.arange(start, stop))
    ys = np.clip(view.ys(np.where(known, values, 0.0)), view.plot.top() + size / 2 + 1, view.plot.bottom() - size / 2 - 1)
    inside = (xs >= view.plot.left() - size) & (xs <= view.plot.right() + size) & known
    ring = max(size, 4.5)
    for chosen, colour, width in (
        (inside & used, style.luminance, size),
        (inside & ~used, style.muted, ring),
        (inside & ~used, style.plot, ring - 2.2),
    ):
        pen = QPen(colour, width)
        pen.setCapStyle(Qt.PenCapStyle.RoundCap if width > 2.1 else Qt.PenCapStyle.SquareCap)
        painter.setPen(pen)
        at = _distinct(xs[chosen], ys[chosen]) if view.dense else (xs[chosen], ys[chosen])
        painter.drawPoints(QPolygonF(list(map(QPointF, at[0].tolist(), at[1].tolist()))))


def _distinct(xs: Floats, ys: Floats) -> tuple[Floats, Floats]:
    """Return the points without those that fall on the same pixel as another."""
    _, first = np.unique(np.rint(xs) * 65536 + np.rint(ys), return_index=True)
    return xs[first], ys[first]


def mark_rows(model: StripModel) -> int:
    """Return how many rows the marks of faults need: two where a frame has more than one."""
    return min(max((len(faults) for _, faults in model.faults), default=0), 2)


def fault_at(view: StripView, model: StripModel, pos: QPointF) -> int | None:
    """Return the place of the frame whose fault mark is nearest to a point within 7 pixels, None where there is none."""
    if not view.marks.adjusted(-8, -2, 8, 2).contains(pos):
        return None
    near = [(abs(view.x(index) - pos.x()), index) for index, _ in model.faults]
    distance, index = min(near, default=(np.inf, -1))
    return index if distance <= 7 else None


def draw_faults(painter: QPainter, view: StripView, model: StripModel, style: Style) -> None:
    """Draw the marks of faults in their lane under the plot; of the same marks closer than 4 pixels one is drawn."""
    last: dict[tuple[object, int], float] = {}
    for index, faults in model.faults:
        x = view.x(index)
        if not view.plot.left() - 4 <= x <= view.plot.right() + 4:
            continue
        for row, fault in enumerate(faults[:2]):
            if x - last.get((fault, row), -np.inf) < 4:
                continue
            last[fault, row] = x
            colour, path = FAULT_MARKS[fault]
            at = QPointF(x, view.marks.top() + 7 + 14 * row)
            draw_mark(painter, at, 5, path=path, colour=colour, edge=style.edge)
