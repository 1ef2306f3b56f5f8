"""The picture view: the frame as shot and as it will be in the film, side by side at a movable divide."""

from __future__ import annotations

from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, QSizeF, Qt, Signal
from PySide6.QtGui import QColor, QImage, QMouseEvent, QPainter, QPaintEvent, QPen, QResizeEvent, QWheelEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

_MOST_ZOOM = 8.0
_GRIP = 8.0


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


class PictureView(QWidget):
    """Shows two pictures of one frame. Sizes are of the source; `zoom` 1 is one source pixel on one screen pixel."""

    view_changed = Signal()
    divide_changed = Signal(float)
    side_changed = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setMinimumSize(240, 140)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMouseTracking(True)
        self.setAccessibleName(self.tr("Picture, as shot and as in the film"))
        self.side, self.divide = Side.DIVIDED, 0.5
        self.zoom: float | None = None
        self.source = QSizeF()
        self.crop: QRectF | None = None
        self.before: QImage | None = None
        self.film: QImage | None = None
        self.captions = ("", "")
        self._centre = QPointF(0.5, 0.5)
        self._drag: QPointF | None = None
        self._dividing = False

    # -- what is shown

    def set_source(self, width: int, height: int) -> None:
        """Set the frame's size in pixels; another size goes back to the fitted view."""
        size = QSizeF(max(width, 1), max(height, 1))
        if size != self.source:
            self.source = size
            self._centre = QPointF(0.5, 0.5)

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

    def set_crop(self, crop: QRectF | None) -> None:
        """Dim what is outside `crop`, in shares 0..1 of the picture; None dims nothing."""
        self.crop = crop
        self.update()

    # -- where it is shown

    def set_zoom(self, zoom: float | None, at: QPointF | None = None) -> None:
        """Set the zoom (None fits the view), keeping the point `at` of the widget where it is."""
        at = at or QPointF(self.rect().center())
        old = self.picture_rect()
        spot = QPointF((at.x() - old.x()) / max(old.width(), 1), (at.y() - old.y()) / max(old.height(), 1))
        self.zoom = None if zoom is None else min(max(zoom, self.fit_zoom() / 2), _MOST_ZOOM)
        if self.zoom is not None:
            size = self._shown_size()
            middle = QPointF(self.rect().center())
            self._centre = QPointF(
                spot.x() + (middle.x() - at.x()) / size.width(), spot.y() + (middle.y() - at.y()) / size.height()
            )
            self._keep_inside()
        self.view_changed.emit()
        self.update()

    def zoom_by(self, factor: float, at: QPointF | None = None) -> None:
        """Zoom in or out; smaller than the view goes back to fit."""
        zoom = (self.zoom or self.fit_zoom()) * factor
        self.set_zoom(None if zoom <= self.fit_zoom() else zoom, at)

    def fit_zoom(self) -> float:
        """Return the zoom at which the picture just fits."""
        if self.source.isEmpty():
            return 1.0
        ratio = self.devicePixelRatioF()
        return min(self.width() * ratio / self.source.width(), self.height() * ratio / self.source.height())

    def wanted_long_side(self) -> int | None:
        """Return the long side in pixels a sharp picture needs now, None for all the source has."""
        longest = max(self.source.width(), self.source.height())
        wanted = round(longest * (self.zoom or self.fit_zoom()))
        return None if wanted >= longest else max(wanted, 16)

    def picture_rect(self) -> QRectF:
        """Return where the whole picture lies, in the widget's coordinates, on whole screen pixels."""
        size = self._shown_size()
        if self.zoom is None:
            left, top = (self.width() - size.width()) / 2, (self.height() - size.height()) / 2
        else:
            left = self.width() / 2 - self._centre.x() * size.width()
            top = self.height() / 2 - self._centre.y() * size.height()
        ratio = self.devicePixelRatioF()
        return QRectF(QPointF(round(left * ratio) / ratio, round(top * ratio) / ratio), size)

    def _shown_size(self) -> QSizeF:
        return self.source * ((self.zoom or self.fit_zoom()) / self.devicePixelRatioF())

    def _keep_inside(self) -> None:
        size = self._shown_size()
        half_w, half_h = self.width() / 2 / size.width(), self.height() / 2 / size.height()
        self._centre = QPointF(_held(self._centre.x(), half_w), _held(self._centre.y(), half_h))

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
            painter.drawImage(rect, self.film)
        if self.before is not None and not share.isEmpty():
            painter.save()
            painter.setClipRect(share)
            painter.drawImage(rect, self.before)
            painter.restore()
        self._draw_crop(painter, rect)
        if self.side is Side.DIVIDED:
            self._draw_divide(painter, edge)
        self._draw_captions(painter)

    def _draw_crop(self, painter: QPainter, rect: QRectF) -> None:
        if self.crop is None:
            return
        corner = QPointF(self.crop.x() * rect.width(), self.crop.y() * rect.height())
        kept = QRectF(rect.topLeft() + corner, QSizeF(self.crop.width() * rect.width(), self.crop.height() * rect.height()))
        shade = QColor(0, 0, 0, 165)
        painter.fillRect(QRectF(rect.topLeft(), QPointF(rect.right(), kept.top())), shade)
        painter.fillRect(QRectF(QPointF(rect.left(), kept.bottom()), rect.bottomRight()), shade)
        painter.fillRect(QRectF(QPointF(rect.left(), kept.top()), kept.bottomLeft()), shade)
        painter.fillRect(QRectF(kept.topRight(), QPointF(rect.right(), kept.bottom())), shade)
        painter.setPen(QPen(QColor(255, 255, 255, 140), 1))
        painter.drawRect(kept)

    def _draw_divide(self, painter: QPainter, edge: float) -> None:
        painter.setPen(QPen(QColor(0, 0, 0, 160), 3))
        painter.drawLine(QPointF(edge, 0), QPointF(edge, self.height()))
        painter.setPen(QPen(QColor("white"), 1.2))
        painter.drawLine(QPointF(edge, 0), QPointF(edge, self.height()))
        middle = QPointF(edge, self.height() / 2)
        painter.setBrush(QColor(20, 26, 32, 230))
        painter.drawRoundedRect(QRectF(middle.x() - 6, middle.y() - 16, 12, 32), 6, 6)
        for shift in (-2.0, 2.0):
            painter.drawLine(middle + QPointF(shift, -6), middle + QPointF(shift, 6))

    def _draw_captions(self, painter: QPainter) -> None:
        before, film = self.captions
        if before and self.side is not Side.FILM:
            self._draw_pill(painter, before, left=True)
        if film and self.side is not Side.BEFORE:
            self._draw_pill(painter, film, left=False)

    def _draw_pill(self, painter: QPainter, text: str, *, left: bool) -> None:
        width = painter.fontMetrics().horizontalAdvance(text) + 16
        height = painter.fontMetrics().height() + 6
        x = 8 if left else self.width() - width - 8
        box = QRectF(x, self.height() - height - 8, width, height)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(0, 0, 0, 190))
        painter.drawRoundedRect(box, 4, 4)
        painter.setPen(QColor("white"))
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, text)

    # -- mouse

    def _on_divide(self, at: QPointF) -> bool:
        rect = self.picture_rect()
        return self.side is Side.DIVIDED and abs(at.x() - rect.x() - self.divide * rect.width()) <= _GRIP

    def mousePressEvent(self, event: QMouseEvent, /) -> None:
        """Take hold of the divide or of the picture."""
        if event.button() in (Qt.MouseButton.LeftButton, Qt.MouseButton.MiddleButton):
            self._dividing = event.button() == Qt.MouseButton.LeftButton and self._on_divide(event.position())
            self._drag = event.position()

    def mouseMoveEvent(self, event: QMouseEvent, /) -> None:
        """Move the divide or the picture, or show what can be moved."""
        at = event.position()
        if self._drag is None:
            can_pan = Qt.CursorShape.OpenHandCursor if self.zoom is not None else Qt.CursorShape.ArrowCursor
            self.setCursor(Qt.CursorShape.SplitHCursor if self._on_divide(at) else can_pan)
        elif self._dividing:
            rect = self.picture_rect()
            self.set_divide((at.x() - rect.x()) / max(rect.width(), 1))
        elif self.zoom is not None:
            size, moved = self._shown_size(), at - self._drag
            self._centre -= QPointF(moved.x() / size.width(), moved.y() / size.height())
            self._keep_inside()
            self._drag = at
            self.setCursor(Qt.CursorShape.ClosedHandCursor)
            self.update()

    def mouseReleaseEvent(self, _event: QMouseEvent, /) -> None:
        """Let go."""
        self._drag, self._dividing = None, False

    def mouseDoubleClickEvent(self, event: QMouseEvent, /) -> None:
        """Change between the fitted view and 100 %."""
        if not self._on_divide(event.position()):
            self.set_zoom(1.0 if self.zoom is None else None, event.position())

    def wheelEvent(self, event: QWheelEvent, /) -> None:
        """Zoom at the pointer."""
        turn = event.angleDelta().y() or event.angleDelta().x()
        self.zoom_by(2.0 ** (turn / 480.0), event.position())
        event.accept()

    def resizeEvent(self, event: QResizeEvent, /) -> None:
        """Ask for pictures of the new size."""
        super().resizeEvent(event)
        if self.zoom is not None:
            self._keep_inside()
        self.view_changed.emit()


def _held(centre: float, half: float) -> float:
    """Return the centre of view along one axis so that no empty ground is shown that need not be."""
    return 0.5 if half >= 0.5 else min(max(centre, half), 1 - half)
