"""A view of a picture that knows what the film shows of it: dims the rest, or shows that part alone, upright."""

from __future__ import annotations

from math import hypot

from PySide6.QtCore import QPointF, QRectF, QSizeF, Qt, Signal
from PySide6.QtGui import QImage, QPainter, QPolygonF, QTransform
from PySide6.QtWidgets import QWidget

from lapsebench.gui.frame_grips import on_rect
from lapsebench.gui.picture_overlay import draw_crop, draw_mark
from lapsebench.gui.picture_zoom import ZoomView


class FramedView(ZoomView):
    """A view of a picture with a `crop`: the corners, clockwise from top left, in shares 0..1 of the picture."""

    framed_changed = Signal(bool)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.crop: QPolygonF | None = None
        self.framed = self._dim = False
        self.mark: QRectF | None = None

    def set_crop(self, crop: QPolygonF | None) -> None:
        """Set the corners of what the film shows of this frame; None is all of it."""
        changed, self.crop = crop != self.crop, crop
        if changed and self.framed:
            self.view_changed.emit()
        self.update()

    def set_dim_cut(self, dim: bool) -> None:
        """Choose whether what the film cuts off is dimmed."""
        self._dim = dim
        self.update()

    def set_mark(self, mark: QRectF | None) -> None:
        """Show a part of the film's frame, in shares 0..1 of it, by an outline; None none."""
        self.mark = mark
        self.update()

    def set_framed(self, framed: bool) -> None:
        """Choose whether the film's frame alone is shown, upright."""
        if framed != self.framed:
            self.framed = framed
            self.framed_changed.emit(framed)
            self.set_zoom(None)

    def shown_part(self) -> QSizeF:
        """Return the pixels of the source that are there to be seen."""
        if self.crop is None or not self.framed:
            return self.source
        along, down = self.crop.at(1) - self.crop.at(0), self.crop.at(3) - self.crop.at(0)
        width, height = self.source.width(), self.source.height()
        return QSizeF(hypot(along.x() * width, along.y() * height), hypot(down.x() * width, down.y() * height))

    def spot_at(self, pos: QPointF) -> QPointF:
        """Return the place in the picture, shares 0..1, under a point of the widget."""
        rect = self.picture_rect()
        return self._to_picture().map(QPointF((pos.x() - rect.x()) / rect.width(), (pos.y() - rect.y()) / rect.height()))

    def draw_image(self, painter: QPainter, rect: QRectF, image: QImage) -> None:
        """Draw the picture, or the film's frame of it, at `rect`."""
        if self.crop is None or not self.framed:
            painter.drawImage(rect, image)
            return
        to_frame, _ = self._to_picture().inverted()
        onto = QTransform(rect.width(), 0, 0, rect.height(), rect.x(), rect.y())
        painter.save()
        painter.setClipRect(rect, Qt.ClipOperation.IntersectClip)
        painter.setTransform(QTransform.fromScale(1 / image.width(), 1 / image.height()) * to_frame * onto, True)
        painter.drawImage(0, 0, image)
        painter.restore()

    def draw_cut(self, painter: QPainter, rect: QRectF) -> None:
        """Dim what the film cuts off of the picture at `rect`, where that is seen."""
        if self.crop is not None and self._dim and not self.framed:
            draw_crop(painter, rect, on_rect(self.crop, rect))

    def draw_mark(self, painter: QPainter, rect: QRectF) -> None:
        """Outline the marked part of the film's frame, of the picture at `rect`."""
        if self.mark is None:
            return
        corners = QPolygonF(self.mark)
        if self.crop is not None and not self.framed:
            corners = self._from_frame(self.crop).map(corners)
        draw_mark(painter, on_rect(corners, rect))

    def _to_picture(self) -> QTransform:
        """Return what takes shares of what is shown to shares of the picture."""
        if self.crop is None or not self.framed:
            return QTransform()
        return self._from_frame(self.crop)

    def _from_frame(self, crop: QPolygonF) -> QTransform:
        """Return what takes shares of the film's frame to shares of the picture."""
        corner, along, down = crop.at(0), crop.at(1) - crop.at(0), crop.at(3) - crop.at(0)
        return QTransform(along.x(), along.y(), down.x(), down.y(), corner.x(), corner.y())
