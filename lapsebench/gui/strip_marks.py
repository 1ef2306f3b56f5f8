"""The marks of the night strip that stand at frames: setting changes and faults."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QColor, QFontMetricsF

from lapsebench.core.sequence import Fault
from lapsebench.gui.strip_model import Curve, SettingChange, StripModel
from lapsebench.gui.strip_style import FAULT_MARKS, MARK_SIZE, Style, mark_colour
from lapsebench.gui.strip_view import StripView

_GAP = 10.0  # pixels between labels
_APART = 2 * MARK_SIZE  # pixels: uncertain frames come by the hundred, and must not hide the others
_NEAR = 7.0  # how near the pointer must be to a mark, pixels
_TICK = (5.0, 3.0)  # pixels the tick of a setting change reaches above and below the top of the plot


def changes_seen(view: StripView, model: StripModel) -> list[SettingChange]:
    """Return the setting changes within the view."""
    return [c for c in model.changes if view.left <= c.index - 0.5 <= view.right]


def change_labels(view: StripView, model: StripModel, metrics: QFontMetricsF) -> list[tuple[QRectF, SettingChange]]:
    """Return the boxes of the setting-change labels that fit without touching, each over its tick, from left to right."""
    placed: list[tuple[QRectF, SettingChange]] = []
    lane, free = view.lane, view.lane.left()
    for change in changes_seen(view, model):
        width = metrics.horizontalAdvance(change.text) + 2
        left = min(max(view.x(change.index - 0.5) - width / 2, lane.left()), lane.right() - width)
        if left >= free:
            placed.append((QRectF(left, lane.top(), width, view.row), change))
            free = left + width + _GAP
    return placed


def change_at(view: StripView, model: StripModel, pos: QPointF) -> SettingChange | None:
    """Return the setting change whose tick is nearest to a point, None where there is none near."""
    found = _nearest(view, view.lane.adjusted(-8, 0, 8, 4), pos, [c.index - 0.5 for c in model.changes])
    return None if found is None else model.changes[found]


def fault_at(view: StripView, model: StripModel, pos: QPointF) -> int | None:
    """Return the place of the frame whose fault mark is nearest to a point, None where there is none near."""
    found = _nearest(view, view.marks.adjusted(-8, -2, 8, 2), pos, [index for index, _ in model.faults])
    return None if found is None else model.faults[found][0]


def _nearest(view: StripView, lane: QRectF, pos: QPointF, places: Sequence[float]) -> int | None:
    """Return which of the marks in a lane is the nearest to a point."""
    away = [abs(view.x(place) - pos.x()) for place in places] if lane.contains(pos) else []
    return away.index(min(away)) if away and min(away) <= _NEAR else None


def mark_rows(model: StripModel) -> int:
    """Return how many rows the marks of faults need: two where a frame has more than one."""
    return min(max((len(faults) for _, faults in model.faults), default=0), 2)


def _faults_shown(view: StripView, model: StripModel) -> Iterator[tuple[int, int, Fault]]:
    """Yield place, row and kind of the fault marks in sight; of the same marks that stand too close one is shown."""
    last: dict[tuple[Fault, int], float] = {}
    for index, faults in model.faults:
        x = view.x(index)
        if view.left <= index <= view.right:
            for row, fault in enumerate(faults[:2]):
                if x - last.get((fault, row), -np.inf) >= (_APART if fault is Fault.UNCERTAIN else 4):
                    last[fault, row] = x
                    yield index, row, fault


class StripMarks:
    """Ticks and faint lines of setting changes, and fault marks, in a box of frames across and pixels down."""

    def __init__(self, box: pg.ViewBox) -> None:
        self._lines = pg.PlotCurveItem(connect="pairs")
        self._ticks = pg.PlotCurveItem(connect="pairs")
        self._faults = pg.ScatterPlotItem()
        for item in (self._lines, self._ticks, self._faults):
            box.addItem(item, ignoreBounds=True)

    def show(self, model: StripModel, view: StripView, style: Style, hidden: Collection[Curve]) -> None:
        """Show the marks in sight; the faint lines only while they stand well apart."""
        at = [] if Curve.CHANGES in hidden else [change.index - 0.5 for change in changes_seen(view, model)]
        sparse, top, faint = len(at) * 12 < view.plot.width(), view.plot.top(), QColor(style.exposure)
        faint.setAlpha(80)
        self._lines.setData(*_uprights(at if sparse else [], top, view.plot.bottom()))
        self._lines.setPen(style.pen(faint, 1, dashes=(1, 2)))
        self._ticks.setData(*_uprights(at, top - _TICK[0], top + _TICK[1]))
        self._ticks.setPen(style.pen(style.exposure, 2))
        shown = [] if Curve.FAULTS in hidden else list(_faults_shown(view, model))
        shown.sort(key=lambda mark: mark[2] is not Fault.UNCERTAIN)  # others lie over it
        self._faults.setData(
            x=[index for index, _, _ in shown],
            y=[view.marks.top() + 7 + 14 * row for _, row, _ in shown],
            symbol=[FAULT_MARKS[fault][1] for *_, fault in shown],
            brush=[mark_colour(fault, style) for *_, fault in shown],
            pen=style.pen(style.edge, 1),
            size=MARK_SIZE,
        )


def _uprights(at: list[float], top: float, bottom: float) -> tuple[list[float], list[float]]:
    """Return the ends of upright lines from `top` to `bottom`, two after two."""
    return [x for x in at for _ in range(2)], [top, bottom] * len(at)
