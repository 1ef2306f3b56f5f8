"""The scales of the night strip: grid, stops on either side, frame numbers, clock time and labels of setting changes."""

from __future__ import annotations

from collections.abc import Collection
from math import ceil, floor

import pyqtgraph as pg
from PySide6.QtCore import QObject, QRectF, Qt
from PySide6.QtGui import QFont, QFontMetricsF, QTextOption
from PySide6.QtWidgets import QGraphicsSimpleTextItem

from lapsebench.gui.strip_marks import change_labels
from lapsebench.gui.strip_model import Curve, StripModel
from lapsebench.gui.strip_style import Style
from lapsebench.gui.strip_view import LEFT_GUTTER, RIGHT_GUTTER, StripView, nice_step

MINUS = "\N{MINUS SIGN}"
_TICK, _EDGE = 4, 6  # pixels: length of a tick, and between a name and the edge of the canvas


def stops_text(ev: float) -> str:
    """Return whole or tenth stops with a true minus sign."""
    text = f"{ev:.1f}".rstrip("0").rstrip(".")
    return "0" if text in {"0", "-0"} else text.replace("-", MINUS)


def stop_ticks(view: StripView) -> list[float]:
    """Return the stops that get a line of the grid."""
    step = nice_step(view.high - view.low, max(int(view.plot.height() // (view.row * 1.5)), 2))
    return [step * i for i in range(ceil(view.low / step), floor(view.high / step) + 1)]


def frame_ticks(view: StripView, room: float) -> list[int]:
    """Return the places of the frames that get a number, at least `room` pixels apart: round numbers counted from 1."""
    step = int(nice_step(view.span, max(int(view.plot.width() // room), 1), whole=True))
    first, past = view.visible()
    places = [n - 1 for n in range(step * ceil((first + 1) / step), past + 1, step)]
    if first == 0 and (not places or (places[0] - first) * view.column > 0.6 * room):
        places.insert(0, 0)
    return [p for p in places if view.left <= p <= view.right]


def clock_ticks(model: StripModel, places: list[int]) -> list[tuple[int, str]]:
    """Return the clock time at each place where it is known and another than at the one before."""
    ticks: list[tuple[int, str]] = []
    shown = ""
    for place in places:
        taken = model.frames[place].taken
        clock = f"{taken:%H:%M}" if taken else ""
        if clock != shown:
            ticks.append((place, clock))
            shown = clock
    return ticks


class StripScales(QObject):
    """The axes, and the names of what they count."""

    def __init__(self, stops: pg.ViewBox, frames: pg.ViewBox, parent: QObject) -> None:
        super().__init__(parent)
        self._metrics = QFontMetricsF(QFont())
        self._numbers: list[tuple[int, str]] = []
        self._shown: list[tuple[int, str]] = []
        self._sky = _axis("left", None)
        self._grid, self._stops, self._exposure = _axis("left", stops), _axis("left", stops), _axis("right", stops)
        self._changes = _axis("top", frames, offset=8)
        self._frames, self._clock = _axis("bottom", frames, tick=_TICK, offset=1), _axis("bottom", frames, offset=0)
        self._frame_name = QGraphicsSimpleTextItem(self.tr("Frame"))
        self._clock_name = QGraphicsSimpleTextItem(self.tr("Clock"))
        axes = (self._sky, self._grid, self._stops, self._exposure, self._changes, self._frames, self._clock)
        self.items = (*axes, self._frame_name, self._clock_name)
        self._grid.setGrid(255)
        self._grid.setStyle(tickAlpha=255, showValues=False)
        self._grid.setZValue(-1)

    def lay_out(self, view: StripView, font: QFont) -> None:
        """Put the axes about the boxes."""
        self._metrics = QFontMetricsF(font)
        plot, top, row = view.plot, view.marks.bottom(), view.row
        left = QRectF(_EDGE, plot.top(), LEFT_GUTTER - _EDGE, plot.height())
        right = QRectF(plot.right(), plot.top(), RIGHT_GUTTER - _EDGE, plot.height())
        for axis, box in (
            (self._sky, QRectF(_EDGE, view.keogram.top(), LEFT_GUTTER - _EDGE, view.keogram.height())),
            (self._grid, left),
            (self._stops, left),
            (self._exposure, right),
            (self._changes, view.lane),
            (self._frames, QRectF(plot.left(), top, plot.width(), row + 5)),
            (self._clock, QRectF(plot.left(), top + row + 6, plot.width(), row)),
        ):
            axis.setTickFont(font)
            axis.label.setFont(font)
            axis.setWidth(box.width())
            axis.setHeight(box.height())
            axis.setGeometry(box)
        for name, down in ((self._frame_name, 5.0), (self._clock_name, 5 + row)):
            name.setFont(font)
            name.setPos(3, top + down)

    def set_style(self, style: Style) -> None:
        """Use the colours of a theme."""
        for axis, colour in ((self._changes, style.text), (self._frames, style.text), (self._clock, style.muted)):
            axis.setTextPen(colour)
        exposure = [self.tr("Camera exposure (stops)"), self.tr("Exposure (stops)"), self.tr("Exposure")]
        for axis, colour, names, extra in (
            (self._sky, style.muted, [self.tr("Keogram")], 0),
            (self._stops, style.text, [self.tr("Light (stops)"), self.tr("Light")], 0),
            (self._exposure, style.exposure, exposure, 2 * self._changes.size().height()),
        ):
            axis.setTextPen(colour)
            self._name(axis, names, colour.name(), axis.size().height() + extra)
        self._grid.setTickPen(style.pen(style.grid, 1))
        self._frames.setTickPen(style.pen(style.muted, 1))
        self._frame_name.setBrush(style.muted)
        self._clock_name.setBrush(style.muted)

    def show_stops(self, model: StripModel, view: StripView, hidden: Collection[Curve]) -> None:
        """Show the grid and the scales of stops; camera exposure has a whole number of stops more or less."""
        ticks, shift, edge = stop_ticks(view), model.exposure_shift, view.plot
        words = {ev: stops_text(ev) if edge.top() + 3 <= view.y(ev) <= edge.bottom() - 3 else "" for ev in ticks}
        for axis in (self._grid, self._stops):
            axis.setTicks([list(words.items())])
        self._exposure.setTicks([[(ev, text and stops_text(ev - shift)) for ev, text in words.items()]])
        self._exposure.setVisible(Curve.EXPOSURE not in hidden)

    def show_time(self, model: StripModel, view: StripView, hidden: Collection[Curve]) -> None:
        """Show what stands along the time axis: frame numbers, clock, and setting changes where their labels fit."""
        places = frame_ticks(view, self._metrics.horizontalAdvance("00:00") + 26)
        self._numbers = [(place, f"{place + 1}") for place in places]
        self._clock.setTicks([clock_ticks(model, places)])
        labels = [] if Curve.CHANGES in hidden else change_labels(view, model, self._metrics)
        self._changes.setTicks([[(view.place(box.center().x()), change.text) for box, change in labels]])
        self._clock_name.setVisible(any(f.taken is not None for f in model.frames))

    def show_numbers(self, view: StripView, tag: QRectF) -> None:
        """Show the frame numbers, but none that would touch the tag of the playhead."""
        ticks = []
        for place, text in self._numbers:
            half = self._metrics.horizontalAdvance(text) / 2 + 3
            free = not tag.left() - half < view.x(place) < tag.right() + half
            ticks.append((place, text if free else ""))
        if ticks != self._shown:
            self._shown = ticks
            self._frames.setTicks([ticks])

    def _name(self, axis: pg.AxisItem, names: list[str], colour: str, room: float) -> None:
        """Name an axis along its side, `room` pixels long, by the first of `names` that fits; not at all where none does."""
        fitting = [name for name in names if self._metrics.horizontalAdvance(name) <= room - 8]
        axis.setLabel(fitting[0] if fitting else "", color=colour)
        axis.label.setTextWidth(room)
        axis.label.setVisible(bool(fitting))
        axis.resizeEvent()


def _axis(side: str, box: pg.ViewBox | None, *, tick: int = 0, offset: int = 7) -> pg.AxisItem:
    """Return an axis without a line of its own, nor ticks where they have no length; labels may reach past the ends."""
    axis = pg.AxisItem(side, pen=pg.mkPen(None), linkView=box, maxTickLength=tick, showValues=box is not None)
    axis.setStyle(tickTextOffset=offset, tickAlpha=255 if tick else 0, hideOverlappingLabels=40, autoExpandTextSpace=False)
    axis.enableAutoSIPrefix(False)
    axis.label.document().setDefaultTextOption(QTextOption(Qt.AlignmentFlag.AlignHCenter))
    return axis
