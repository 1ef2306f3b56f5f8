"""The picture view: the frame as shot and as it will be in the film, side by side at a movable divide."""

from __future__ import annotations

from collections.abc import Callable
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QColor, QImage, QKeySequence, QMouseEvent, QPainter, QPaintEvent, QShortcut, QWheelEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from lapsebench.gui.framed import FramedView
from lapsebench.gui.picture_overlay import draw_divide, draw_pill

_GRIP = 8.0
Draw = Callable[[QPainter, QRectF], None]
"""Draws with a painter on the picture, which lies at the rectangle."""


class Side(StrEnum):
    """Which picture is shown; the value is what is stored."""

    BEFORE = "before"
    DIVIDED = "divided"
    FILM = "film"


def to_image(pixels: NDArray[np.uint8]) -> QImage:
    """Return a QImage with its own copy of `pixels`, (h, w, 3) sRGB."""
    pixels = np.ascontiguousarray(pixels)
    height, width = pixels.shape[:2]
    return QImage(pixels.data, width, height, 3 * width, QImage.Format.Format_RGB888).copy()


class PictureView(FramedView):
    """Shows two pictures of one frame."""

    divide_changed = Signal(float)
    side_changed = Signal(str)
    picking_changed = Signal(bool)
    picked = Signal(QPointF)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setMinimumSize(240, 140)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMouseTracking(True)
        self.setAccessibleName(self.tr("Picture, as shot and as in the film"))
        self.side, self.divide = Side.DIVIDED, 0.5
        self.before: QImage | None = None
        self.film: QImage | None = None
        self.captions = ("", "")
        self._drag: QPointF | None = None
        self._dividing = False
        self.picking = False
        self._leave_picking = QShortcut(QKeySequence(Qt.Key.Key_Escape), self, enabled=False)
        self._leave_picking.activated.connect(lambda: self.set_picking(False))
        self._layers: list[Draw] = []

    # -- what is shown

    def set_pictures(self, before: QImage | None, film: QImage | None) -> None:
        """Show two pictures of the frame, of any resolution."""
        self.before, self.film = before, film
        self.update()

    def set_captions(self, before: str, film: str) -> None:
        """Set the words in the lower corners."""
        self.captions = (before, film)
        self.update()

    def set_side(self, side: Side) -> None:
        """Choose which picture is shown."""
        if side != self.side:
            self.side = side
            self.side_changed.emit(side.value)
            self.update()

    def set_divide(self, share: float) -> None:
        """Move the divide to a share 0..1 of the picture's width."""
        share = min(max(share, 0.0), 1.0)
        if share != self.divide:
            self.divide = share
            self.divide_changed.emit(share)
            self.update()

    def set_picking(self, picking: bool) -> None:
        """Choose whether the next click picks a spot of the picture, told by `picked` in shares 0..1; Escape leaves it."""
        if picking != self.picking:
            self.picking = picking
            self.setCursor(Qt.CursorShape.CrossCursor if picking else Qt.CursorShape.ArrowCursor)
            if picking:
                self.setFocus()
            self._leave_picking.setEnabled(picking)
            self.picking_changed.emit(picking)

    def add_layer(self, draw: Draw) -> None:
        """Add what is drawn on the picture, above the others and below the captions."""
        self._layers.append(draw)

    # -- painting

    def paintEvent(self, _event: QPaintEvent, /) -> None:
        """Draw the pictures, the divide, the crop and the captions."""
        painter = QPainter(self)
        painter.setRenderHints(QPainter.RenderHint.SmoothPixmapTransform | QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), QColor("black"))
        rect = self.picture_rect()
        if self.film is None and self.before is None:
            return
        edge = rect.x() + self.divide * rect.width()
        share = {Side.BEFORE: QRectF(self.rect()), Side.FILM: QRectF()}.get(self.side, QRectF(0, 0, edge, self.height()))
        if self.film is not None and self.side is not Side.BEFORE:
            self.draw_image(painter, rect, self.film)
        if self.before is not None and not share.isEmpty():
            painter.save()
            painter.setClipRect(share)
            self.draw_image(painter, rect, self.before)
            painter.restore()
        self.draw_cut(painter, rect)
        if self.side is Side.DIVIDED:
            draw_divide(painter, edge, self.height())
        for draw in self._layers:
            draw(painter, rect)
        self.draw_mark(painter, rect)
        self._draw_captions(painter)

    def _draw_captions(self, painter: QPainter) -> None:
        before, film = self.captions
        if before and self.side is not Side.FILM:
            draw_pill(painter, self.rect(), before, left=True)
        if film and self.side is not Side.BEFORE:
            draw_pill(painter, self.rect(), film, left=False)

    # -- mouse

    def on_divide(self, at: QPointF) -> bool:
        """Whether a point is where the divide can be taken hold of."""
        rect = self.picture_rect()
        return self.side is Side.DIVIDED and abs(at.x() - rect.x() - self.divide * rect.width()) <= _GRIP

    def mousePressEvent(self, event: QMouseEvent, /) -> None:
        """Pick a spot, or take hold of the divide or of the picture."""
        if self.picking and event.button() == Qt.MouseButton.LeftButton:
            self._pick(event.position())
            return
        if event.button() in (Qt.MouseButton.LeftButton, Qt.MouseButton.MiddleButton):
            self._dividing = event.button() == Qt.MouseButton.LeftButton and self.on_divide(event.position())
            self._drag = event.position()

    def mouseMoveEvent(self, event: QMouseEvent, /) -> None:
        """Move the divide or the picture, or show what can be moved."""
        at = event.position()
        if self.picking:
            return
        if self._drag is None:
            can_pan = Qt.CursorShape.OpenHandCursor if self.zoom is not None else Qt.CursorShape.ArrowCursor
            self.setCursor(Qt.CursorShape.SplitHCursor if self.on_divide(at) else can_pan)
        elif self._dividing:
            rect = self.picture_rect()
            self.set_divide((at.x() - rect.x()) / max(rect.width(), 1))
        elif self.zoom is not None:
            self.pan(at - self._drag)
            self._drag = at
            self.setCursor(Qt.CursorShape.ClosedHandCursor)

    def mouseReleaseEvent(self, _event: QMouseEvent, /) -> None:
        """Let go."""
        self._drag, self._dividing = None, False

    def _pick(self, at: QPointF) -> None:
        self.set_picking(False)
        if self.picture_rect().contains(at):
            self.picked.emit(self.spot_at(at))

    def mouseDoubleClickEvent(self, event: QMouseEvent, /) -> None:
        """Change between the fitted view and 100 %."""
        if not self.on_divide(event.position()):
            self.set_zoom(1.0 if self.zoom is None else None, event.position())

    def wheelEvent(self, event: QWheelEvent, /) -> None:
        """Zoom at the pointer."""
        turn = event.angleDelta().y() or event.angleDelta().x()
        self.zoom_by(2.0 ** (turn / 480.0), event.position())
        event.accept()
