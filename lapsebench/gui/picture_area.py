"""The metering area over the picture: drawn with what is not measured dimmed, dragged by mouse, moved by keys."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QBrush, QColor, QKeyEvent, QMouseEvent, QPainter, QPainterPath, QPen

from lapsebench.core.area import AreaKind, MeteringArea
from lapsebench.gui.area_grips import Grip, Hold, body_at, box_rect, dragged, keyed, point_at, point_grips
from lapsebench.gui.picture import PictureView
from lapsebench.gui.picture_layer import PictureLayer
from lapsebench.gui.strip_style import SKY

_SHADE, _HATCH = QColor(0, 0, 0, 120), QColor(255, 255, 255, 34)
_EDGE = QColor(0, 0, 0, 190)
_POINT = 4.5  # pixels from the middle of a point to its edge


class AreaLayer(PictureLayer):
    """Lies over the picture; what is not on the area goes on to the picture below.

    `changed` tells the area as it is dragged and whether the drag is over; `find_wanted` asks for the horizon to be found,
    `room_changed` for the area to be shown again: where the film's frame alone is shown there is none.
    """

    changed = Signal(object, bool)
    find_wanted = Signal()
    room_changed = Signal()

    def __init__(self, view: PictureView) -> None:
        super().__init__(view)
        self.area = MeteringArea()
        self.proposed = False
        self._start: MeteringArea | None = None
        self._held: Grip | None = None
        self._from = QPointF()
        self._chosen = -1
        self.setAccessibleName(self.tr("Metering area in the picture"))
        view.add_layer(self.draw_on)
        view.framed_changed.connect(self.room_changed)

    @property
    def held(self) -> bool:
        """Whether the area is being dragged."""
        return self._start is not None

    def show_area(self, area: MeteringArea | None, *, proposed: bool = False) -> None:
        """Show an area, None shows nothing. `proposed`: its horizon counts only once it is dragged."""
        if self.held:
            return
        if area is None or area.kind is AreaKind.WHOLE or self._view.framed:
            self.hide()
        else:
            if area.kind is not self.area.kind:
                self._chosen = -1
            self.area, self.proposed = area, proposed
            self.setAccessibleDescription(self._how())
            self.setGeometry(self._view.rect())
            self.show()
        self._view.update()

    def let_go(self) -> None:
        """End a drag."""
        self._start = self._held = None

    def draw_on(self, painter: QPainter, rect: QRectF) -> None:
        """Draw the area on the picture, which lies at `rect`."""
        if self.isHidden():
            return
        painter.save()
        painter.setClipRect(rect)
        measured = _shape(self.area, rect)
        if not self.proposed:
            rest = QPainterPath()
            rest.addRect(rect)
            for brush in (QBrush(_SHADE), QBrush(_HATCH, Qt.BrushStyle.BDiagPattern)):
                painter.fillPath(rest.subtracted(measured), brush)
        outline = _skyline(self.area, rect) if self.area.by_horizon else measured
        style = Qt.PenStyle.DashLine if self.proposed else Qt.PenStyle.SolidLine
        for pen in (QPen(_EDGE, 4), QPen(SKY, 2, style)):
            painter.strokePath(outline, pen)
        self._draw_points(painter, rect)
        painter.restore()

    def _draw_points(self, painter: QPainter, rect: QRectF) -> None:
        """Draw the points as squares; those that the arrow keys move are white while the layer has the focus."""
        for grip, spot in point_grips(self.area, rect):
            keyed_now = self.hasFocus() and (self.area.by_box or self._chosen in (-1, grip.index))
            size = _POINT + (1.5 if keyed_now else 0)
            painter.setPen(QPen(_EDGE, 1.5))
            painter.setBrush(QColor("white") if keyed_now else SKY)
            box = QRectF(spot.x() - size, spot.y() - size, 2 * size, 2 * size)
            if grip.hold is Hold.MIDDLE:
                painter.drawEllipse(box)
            else:
                painter.drawRect(box)

    def _how(self) -> str:
        if self.area.by_box:
            return self.tr("Arrow keys move it, with Shift they change its size.")
        return self.tr("Up and down move the horizon, left and right choose one of its points, Delete finds it anew.")

    def _grip_at(self, pos: QPointF) -> Grip | None:
        """Return what is under a point: points first, then the picture's divide, then line or box."""
        rect = self._view.picture_rect()
        point = point_at(self.area, rect, pos)
        if point is not None or self._view.on_divide(pos):
            return point
        return body_at(self.area, rect, pos, inside=self._view.zoom is None)

    # -- mouse

    def mousePressEvent(self, event: QMouseEvent, /) -> None:
        """Take hold of the area."""
        grip = self._grip_at(event.position()) if event.button() == Qt.MouseButton.LeftButton else None
        if grip is None:
            event.ignore()
            return
        self._start, self._held, self._from = self.area, grip, event.position()
        self._chosen = grip.index
        self.setFocus(Qt.FocusReason.MouseFocusReason)
        self._view.update()

    def mouseMoveEvent(self, event: QMouseEvent, /) -> None:
        """Drag the area, or show what can be dragged."""
        if self._start is None or self._held is None:
            grip = None if event.buttons() else self._grip_at(event.position())
            if grip is not None:
                self.setCursor(grip.cursor)
            else:
                self.unsetCursor()
                event.ignore()
            return
        rect, moved = self._view.picture_rect(), event.position() - self._from
        self._become(dragged(self._start, self._held, moved.x() / rect.width(), moved.y() / rect.height()), over=False)

    def mouseReleaseEvent(self, event: QMouseEvent, /) -> None:
        """Let go."""
        if self._start is None:
            event.ignore()
            return
        moved = self._start != self.area
        self.let_go()
        if moved:
            self.changed.emit(self.area, True)

    def mouseDoubleClickEvent(self, event: QMouseEvent, /) -> None:
        """Find the horizon anew where its line is; elsewhere the picture takes it."""
        grip = self._grip_at(event.position())
        if grip is None or not self.area.by_horizon:
            event.ignore()
        else:
            self.find_wanted.emit()

    # -- keys and the like

    def keyPressEvent(self, event: QKeyEvent, /) -> None:
        """Move the area by arrow keys."""
        if self.area.by_horizon and event.key() in (Qt.Key.Key_Delete, Qt.Key.Key_Backspace):
            self.find_wanted.emit()
            return
        plain = event.modifiers() & ~(Qt.KeyboardModifier.ShiftModifier | Qt.KeyboardModifier.KeypadModifier)
        shift = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
        done = None if plain else keyed(self.area, self._chosen, event.key(), shift=shift)
        if done is None:
            event.ignore()
            return
        area, self._chosen = done
        self._view.update()
        if area != self.area:
            self._become(area, over=True)

    def _become(self, area: MeteringArea, *, over: bool) -> None:
        if area != self.area:
            self.area, self.proposed = area, False
            self._view.update()
            self.changed.emit(area, over)


def _skyline(area: MeteringArea, rect: QRectF) -> QPainterPath:
    """Return the skyline, from edge to edge of the picture."""
    count = len(area.horizon)
    heights = [rect.y() + share * rect.height() for share in area.horizon]
    path = QPainterPath(QPointF(rect.left(), heights[0]))
    for k, height in enumerate(heights):
        path.lineTo(rect.x() + (k + 0.5) / count * rect.width(), height)
    path.lineTo(rect.right(), heights[-1])
    return path


def _shape(area: MeteringArea, rect: QRectF) -> QPainterPath:
    """Return what is measured, where the picture lies at `rect`."""
    path = QPainterPath()
    if area.kind is AreaKind.RECTANGLE:
        path.addRect(box_rect(area, rect))
    elif area.kind is AreaKind.ELLIPSE:
        path.addEllipse(box_rect(area, rect))
    elif area.horizon:
        path = _skyline(area, rect)
        edge = rect.top() if area.kind is AreaKind.SKY else rect.bottom()
        path.lineTo(rect.right(), edge)
        path.lineTo(rect.left(), edge)
        path.closeSubpath()
    return path
