"""Where things lie on the night strip: frames to pixels across, stops to pixels up, zoom and pan."""

from __future__ import annotations

from math import ceil, floor, log10

from PySide6.QtCore import QPointF, QRectF

MIN_SPAN = 8
"""Frames seen at the closest zoom."""

LEFT_GUTTER, RIGHT_GUTTER = 60, 58


def nice_step(span: float, most: int, *, whole: bool = False) -> float:
    """Return the step of 1, 2 or 5 times a power of ten that puts at most `most` ticks on `span`."""
    rough = max(span / max(most, 1), 1e-9)
    power = 10.0 ** floor(log10(rough))
    step = next(m * power for m in (1, 2, 5, 10) if m * power >= rough * (1 - 1e-9))
    return max(step, 1.0) if whole else step


class StripView:
    """The visible part of the shot and its place on the canvas.

    Frame i of the shot covers i - 0.5 to i + 0.5 across. From the top: `keogram`, `lane` (setting changes), `plot`, `marks`
    (faults), and below that the two rows of the time axis.
    """

    def __init__(self) -> None:
        self.count = 1
        self.left, self.right = -0.5, 0.5
        self.low, self.high = -10.0, -2.0
        self.keogram = QRectF()
        self.lane = QRectF()
        self.plot = QRectF()
        self.marks = QRectF()
        self.row = 14.0

    def lay_out(self, width: int, height: int, *, row: float, mark_rows: int) -> None:
        """Share out a canvas of `width` x `height` pixels; `row` is the height of a line of text."""
        across = max(width - LEFT_GUTTER - RIGHT_GUTTER, 20)
        lane, marks = row + 7, 14.0 * mark_rows
        free = max(height - 4 - lane - marks - 2 * row - 10, 40)
        keogram = float(round(free * 0.4))
        self.row = row
        self.keogram = QRectF(LEFT_GUTTER, 4, across, keogram)
        self.lane = QRectF(LEFT_GUTTER, self.keogram.bottom() + 1, across, lane)
        self.plot = QRectF(LEFT_GUTTER, self.lane.bottom(), across, float(round(free - keogram)))
        self.marks = QRectF(LEFT_GUTTER, self.plot.bottom(), across, marks)

    def set_count(self, count: int) -> None:
        """Show the whole of a shot of `count` frames."""
        self.count = max(count, 1)
        self.show_whole()

    def show_whole(self) -> None:
        """Show every frame of the shot."""
        self.left, self.right = -0.5, self.count - 0.5

    @property
    def span(self) -> float:
        """Frames seen."""
        return self.right - self.left

    @property
    def whole(self) -> bool:
        """Whether every frame of the shot is seen."""
        return self.span >= self.count

    @property
    def column(self) -> float:
        """Width of one frame, pixels."""
        return self.plot.width() / self.span

    @property
    def body(self) -> QRectF:
        """Keogram, lane, plot and marks together: what the handles run through."""
        return QRectF(self.keogram.topLeft(), self.marks.bottomRight())

    @property
    def dense(self) -> bool:
        """Whether frames stand so close that curves are drawn from the least to the greatest value on each pixel."""
        return self.span > 0.7 * self.plot.width()

    def visible(self) -> tuple[int, int]:
        """Return the first frame seen and one past the last, counted from the first of the shot."""
        return max(floor(self.left + 0.5), 0), min(ceil(self.right + 0.5), self.count)

    def x(self, index: float) -> float:
        """Return the pixel across of a place in the shot."""
        return self.plot.left() + (index - self.left) * self.column

    def place(self, x: float) -> float:
        """Return the place in the shot at a pixel across, not rounded."""
        return self.left + (x - self.plot.left()) / self.column

    def index(self, x: float) -> int:
        """Return the frame under a pixel across, kept within what is seen."""
        first, past = self.visible()
        return min(max(floor(self.place(x) + 0.5), first), past - 1)

    def y(self, ev: float) -> float:
        """Return the pixel down of a light in stops."""
        return self.plot.bottom() - (ev - self.low) * self.plot.height() / (self.high - self.low)

    def ev(self, y: float) -> float:
        """Return the light in stops at a pixel down, kept within the plot."""
        part = (self.plot.bottom() - y) / max(self.plot.height(), 1.0)
        return self.low + min(max(part, 0.0), 1.0) * (self.high - self.low)

    def zoom(self, factor: float, about: float) -> None:
        """See `factor` times fewer frames, with the place `about` staying where it is."""
        span = min(max(self.span / factor, min(MIN_SPAN, self.count)), self.count)
        share = (about - self.left) / self.span
        self._move_to(about - share * span, span)

    def pan_to(self, left: float) -> None:
        """Start the view at a place, kept within the shot."""
        self._move_to(left, self.span)

    def reveal(self, index: int) -> bool:
        """Turn the page so that a frame is seen; return whether the view moved."""
        if self.left <= index - 0.5 + 1e-6 and index + 0.5 - 1e-6 <= self.right:
            return False
        before = self.left
        ahead = 0.1 if index > self.left else 0.9
        self._move_to(index - ahead * self.span, self.span)
        return self.left != before

    def fit(self, low: float, high: float) -> bool:
        """Set the range of stops to hold `low` to `high` with a margin; return whether it changed.

        A range that still holds them, and not much more, is kept: curves do not jump about while a slider moves.
        """
        middle, span = (low + high) / 2, max(high - low, 2.0)
        roomy = self.high - self.low > 1.7 * span
        if self.low <= low and high <= self.high and not roomy:
            return False
        self.low, self.high = middle - 0.6 * span, middle + 0.6 * span
        return True

    def near(self, pos: QPointF, x: float, reach: float) -> bool:
        """Whether a point in the body lies within `reach` pixels of the vertical at `x`."""
        inside = self.body.top() - reach <= pos.y() <= self.body.bottom() + reach
        return inside and abs(pos.x() - x) <= reach

    def _move_to(self, left: float, span: float) -> None:
        self.left = min(max(left, -0.5), self.count - 0.5 - span)
        self.right = self.left + span
