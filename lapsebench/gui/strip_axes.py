"""Draws the scales of the night strip: grid, stops on either side, frame numbers, clock time and setting changes."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QPainter, QPen

from lapsebench.gui.strip_model import SettingChange, StripModel
from lapsebench.gui.strip_style import Style
from lapsebench.gui.strip_view import LEFT_GUTTER, RIGHT_GUTTER, StripView, nice_step

MINUS = "\N{MINUS SIGN}"
_GAP = 10.0  # pixels between labels
_CENTRE = Qt.AlignmentFlag.AlignCenter
_RIGHT = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
_LEFT = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter


@dataclass(frozen=True, slots=True)
class AxisWords:
    """Names of the scales, in the language of the window."""

    keogram: str
    light: str
    exposure: str
    frame: str
    clock: str


def stops_text(ev: float) -> str:
    """Return whole or tenth stops with a true minus sign."""
    text = f"{ev:.1f}".rstrip("0").rstrip(".")
    return "0" if text in {"0", "-0"} else text.replace("-", MINUS)


def _stop_ticks(view: StripView, row: float) -> list[float]:
    step = nice_step(view.high - view.low, max(int(view.plot.height() // (row * 1.5)), 2))
    return [step * i for i in range(ceil(view.low / step), floor(view.high / step) + 1)]


def draw_stops(painter: QPainter, view: StripView, style: Style, words: AxisWords, shift: float | None) -> None:
    """Draw the grid and the scales of stops; the right one is the left less `shift`, and left out where it is None."""
    plot, row = view.plot, view.row
    for ev in _stop_ticks(view, row):
        y = round(view.y(ev)) + 0.5
        painter.setPen(QPen(style.grid, 1))
        painter.drawLine(QPointF(plot.left(), y), QPointF(plot.right(), y))
        if not plot.top() + 3 <= y <= plot.bottom() - 3:
            continue
        painter.setPen(style.text)
        painter.drawText(QRectF(0, y - row, plot.left() - 7, 2 * row), _RIGHT, stops_text(ev))
        if shift is not None:
            painter.setPen(style.exposure)
            painter.drawText(QRectF(plot.right() + 7, y - row, RIGHT_GUTTER, 2 * row), _LEFT, stops_text(ev - shift))
    _draw_upright(
        painter, QRectF(0, view.lane.top(), row + 4, view.lane.height() + plot.height()), words.light, style.text, -90
    )
    _draw_upright(painter, QRectF(0, view.keogram.top(), row + 4, view.keogram.height()), words.keogram, style.muted, -90)
    if shift is not None:
        side = QRectF(plot.right() + RIGHT_GUTTER - 2 * row - 2, view.keogram.bottom(), 2 * row, 0)
        side.setBottom(view.marks.bottom())
        _draw_upright(painter, side, words.exposure, style.exposure, 90)


def _draw_upright(painter: QPainter, box: QRectF, text: str, colour: QColor, turn: float) -> None:
    """Draw text turned by `turn` degrees in the middle of a box: on two lines where long, not at all where it cannot fit."""
    painter.save()
    painter.translate(box.center())
    painter.rotate(turn)
    painter.setPen(colour)
    turned = QRectF(-box.height() / 2, -box.width() / 2, box.height(), box.width())
    metrics = QFontMetricsF(painter.font())
    lines = max(int(box.width() // (metrics.height() - 2)), 1)
    if metrics.horizontalAdvance(text) <= lines * box.height():
        painter.drawText(turned, _CENTRE | Qt.TextFlag.TextWordWrap, text)
    painter.restore()


def frame_ticks(view: StripView, room: float) -> list[int]:
    """Return the places of the frames that get a number, at least `room` pixels apart: round numbers counted from 1."""
    step = int(nice_step(view.span, max(int(view.plot.width() // room), 1), whole=True))
    first, past = view.visible()
    places = [n - 1 for n in range(step * ceil((first + 1) / step), past + 1, step)]
    if first == 0 and (not places or (places[0] - first) * view.column > 0.6 * room):
        places.insert(0, 0)
    return [p for p in places if view.left <= p <= view.right]


def _tick_room(painter: QPainter) -> float:
    return QFontMetricsF(painter.font()).horizontalAdvance("00:00") + 26


def draw_time(painter: QPainter, view: StripView, model: StripModel, style: Style, words: AxisWords) -> None:
    """Draw the ticks of the time axis and, where frames have times, the clock in the lower row."""
    row, top, room = view.row, view.marks.bottom() + 5, _tick_room(painter)
    painter.setPen(style.muted)
    painter.drawText(QRectF(3, top, LEFT_GUTTER, row), _LEFT, words.frame)
    if any(f.taken is not None for f in model.frames):
        painter.drawText(QRectF(3, top + row, LEFT_GUTTER, row), _LEFT, words.clock)
    shown = ""
    for place in frame_ticks(view, room):
        x, taken = view.x(place), model.frames[place].taken
        painter.setPen(QPen(style.muted, 1))
        painter.drawLine(QPointF(x, top - 5), QPointF(x, top - 1))
        clock = f"{taken:%H:%M}" if taken else ""
        if clock != shown:
            painter.drawText(QRectF(x - room / 2, top + row, room, row), _CENTRE, clock)
            shown = clock


def draw_frame_numbers(painter: QPainter, view: StripView, style: Style, tag: QRectF) -> None:
    """Draw frame numbers counted from 1, but none that would touch the tag of the playhead."""
    top, room, metrics = view.marks.bottom() + 5, _tick_room(painter), QFontMetricsF(painter.font())
    painter.setPen(style.text)
    for place in frame_ticks(view, room):
        text = f"{place + 1}"
        width = metrics.horizontalAdvance(text) + 6
        box = QRectF(view.x(place) - width / 2, top, width, view.row)
        if not box.intersects(tag):
            painter.drawText(box, _CENTRE, text)


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


def changes_seen(view: StripView, model: StripModel) -> list[SettingChange]:
    """Return the setting changes within the view."""
    return [c for c in model.changes if view.left <= c.index - 0.5 <= view.right]


def change_at(view: StripView, model: StripModel, pos: QPointF) -> SettingChange | None:
    """Return the setting change whose tick is nearest to a point within 7 pixels, None where there is none."""
    if not view.lane.adjusted(-8, 0, 8, 4).contains(pos):
        return None
    near = [(abs(view.x(c.index - 0.5) - pos.x()), c.index, c) for c in changes_seen(view, model)]
    distance, _, change = min(near, default=(float("inf"), 0, None))
    return change if distance <= 7 else None


def draw_changes(painter: QPainter, view: StripView, model: StripModel, style: Style) -> None:
    """Draw a tick along the top of the plot for each setting change, and a label over it where there is room."""
    ticks = [view.x(c.index - 0.5) for c in changes_seen(view, model)]
    faint = QColor(style.exposure)
    faint.setAlpha(80)
    for x in ticks:
        if len(ticks) * 12 < view.plot.width():
            painter.setPen(QPen(faint, 1, Qt.PenStyle.DotLine))
            painter.drawLine(QPointF(x, view.plot.top()), QPointF(x, view.plot.bottom()))
        painter.setPen(QPen(style.exposure, 2))
        painter.drawLine(QPointF(x, view.lane.bottom() - 5), QPointF(x, view.lane.bottom() + 3))
    painter.setPen(style.text)
    for box, change in change_labels(view, model, QFontMetricsF(painter.font())):
        painter.drawText(box, _CENTRE, change.text)
