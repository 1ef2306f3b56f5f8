"""Where a picture lies in its view: fitted or zoomed, panned, and never with empty ground that need not be."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, QSizeF, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QWidget

_MOST_ZOOM = 8.0


class ZoomView(QWidget):
    """A view of a picture. Sizes are of the source; `zoom` 1 is one source pixel on one screen pixel, None fits the view."""

    view_changed = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.zoom: float | None = None
        self.source = QSizeF()
        self._centre = QPointF(0.5, 0.5)

    def set_source(self, width: int, height: int) -> None:
        """Set the frame's size in pixels; another size goes back to the fitted view."""
        size = QSizeF(max(width, 1), max(height, 1))
        if size != self.source:
            self.source = size
            self._centre = QPointF(0.5, 0.5)

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
        part = self.shown_part()
        if part.isEmpty():
            return 1.0
        ratio = self.devicePixelRatioF()
        return min(self.width() * ratio / part.width(), self.height() * ratio / part.height())

    def wanted_long_side(self) -> int | None:
        """Return the long side in pixels a sharp picture needs now, None for all the source has."""
        longest = max(self.source.width(), self.source.height())
        wanted = round(longest * (self.zoom or self.fit_zoom()))
        return None if wanted >= longest else max(wanted, 16)

    def shown_part(self) -> QSizeF:
        """Return the pixels of the source that are there to be seen: all of them."""
        return self.source

    def picture_rect(self) -> QRectF:
        """Return where all that there is to be seen lies, in the widget's coordinates, on whole screen pixels."""
        size = self._shown_size()
        if self.zoom is None:
            left, top = (self.width() - size.width()) / 2, (self.height() - size.height()) / 2
        else:
            left = self.width() / 2 - self._centre.x() * size.width()
            top = self.height() / 2 - self._centre.y() * size.height()
        ratio = self.devicePixelRatioF()
        return QRectF(QPointF(round(left * ratio) / ratio, round(top * ratio) / ratio), size)

    def pan(self, moved: QPointF) -> None:
        """Move the picture by pixels of the widget, as far as it goes."""
        size = self._shown_size()
        self._centre -= QPointF(moved.x() / size.width(), moved.y() / size.height())
        self._keep_inside()
        self.update()

    def _shown_size(self) -> QSizeF:
        return self.shown_part() * ((self.zoom or self.fit_zoom()) / self.devicePixelRatioF())

    def _keep_inside(self) -> None:
        size = self._shown_size()
        half_w, half_h = self.width() / 2 / size.width(), self.height() / 2 / size.height()
        self._centre = QPointF(_held(self._centre.x(), half_w), _held(self._centre.y(), half_h))

    def resizeEvent(self, event: QResizeEvent, /) -> None:
        """Ask for pictures of the new size."""
        super().resizeEvent(event)
        if self.zoom is not None:
            self._keep_inside()
        self.view_changed.emit()


def _held(centre: float, half: float) -> float:
    """Return the centre of view along one axis so that no empty ground is shown that need not be."""
    return 0.5 if half >= 0.5 else min(max(centre, half), 1 - half)
