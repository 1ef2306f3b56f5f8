"""The film's frame over the picture: dragged by mouse, moved and scaled by keys, its other end drawn thin beside it."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QKeyEvent, QMouseEvent, QPainter, QPolygonF

from lapsebench.core.view import Aim, View
from lapsebench.gui.frame_grips import WHOLE, Grip, Ground, cursor_of, dragged, grip_at, keyed, on_rect
from lapsebench.gui.frame_overlay import draw_frame, draw_grid, draw_other
from lapsebench.gui.picture import PictureView
from lapsebench.gui.picture_layer import PictureLayer


class FrameLayer(PictureLayer):
    """Lies over the picture while it is switched on; what is not on the frame goes on to the picture below.

    `changed` tells the aim as it is dragged and whether the drag is over; `left` that Escape was pressed.
    """

    changed = Signal(object, bool)
    left = Signal()

    def __init__(self, view: PictureView) -> None:
        super().__init__(view)
        self._shown, self._ground, self._at_end = View(), Ground((1, 1), 1.0, 0.0), False
        self._on = self._grid = False
        self._start: Aim | None = None
        self._held = WHOLE
        self._from = QPointF()
        self.setAccessibleName(self.tr("The film's frame in the picture"))
        self.setAccessibleDescription(
            self.tr("Arrow keys move it, with Shift further. Plus and minus change its size. Escape leaves it.")
        )
        view.add_layer(self.draw_on)

    @property
    def held(self) -> bool:
        """Whether the frame is being dragged."""
        return self._start is not None

    @property
    def aim(self) -> Aim:
        """The end that is dragged."""
        return self._shown.end if self._at_end and self._shown.end is not None else self._shown.start

    def show_frame(self, view: View, ground: Ground, *, at_end: bool) -> None:
        """Show what a shot shows; `at_end`: its end is dragged, not its start."""
        self._shown, self._ground, self._at_end = view, ground, at_end
        self._view.update()

    def set_on(self, on: bool) -> None:
        """Choose whether the frame is there to be dragged."""
        self._on = on
        self.let_go()
        self.setGeometry(self._view.rect())
        self.setVisible(on)
        self.raise_()
        self._view.update()

    def set_grid(self, grid: bool) -> None:
        """Choose whether a thin grid is drawn in the frame, to straighten the picture by."""
        self._grid = grid
        self._view.update()

    def let_go(self) -> None:
        """End a drag."""
        self._start = None

    # -- painting

    def draw_on(self, painter: QPainter, rect: QRectF) -> None:
        """Draw the frame on the picture, which lies at `rect`."""
        painter.save()
        if self._grid:
            draw_grid(painter, QPolygonF(rect) if self._view.framed else self._corners(rect))
        if self._on:
            self._draw_other(painter, rect)
            draw_frame(painter, self._corners(rect), focused=self.hasFocus())
        painter.restore()

    def _corners(self, rect: QRectF) -> QPolygonF:
        return on_rect(self._ground.outline(self.aim), rect)

    def _draw_other(self, painter: QPainter, rect: QRectF) -> None:
        first, last = self._shown.start, self._shown.end
        if last is not None:
            other = on_rect(self._ground.outline(first if self._at_end else last), rect)
            draw_other(painter, other, self._corners(rect), self.tr("start") if self._at_end else self.tr("end"))

    # -- mouse

    def _grip_at(self, pos: QPointF) -> Grip | None:
        """Return what is under a point: corners and middle first, then the picture's divide, then all of the frame."""
        corners = self._corners(self._view.picture_rect())
        grip = grip_at(corners, pos, inside=False)
        if grip is not None or self._view.on_divide(pos):
            return grip
        return grip_at(corners, pos, inside=self._view.zoom is None)

    def mousePressEvent(self, event: QMouseEvent, /) -> None:
        """Take hold of the frame."""
        free = event.button() == Qt.MouseButton.LeftButton and not self._view.picking
        grip = self._grip_at(event.position()) if free else None
        if grip is None:
            event.ignore()
            return
        self._start, self._held, self._from = self.aim, grip, event.position()
        self.setFocus(Qt.FocusReason.MouseFocusReason)
        self._view.update()

    def mouseMoveEvent(self, event: QMouseEvent, /) -> None:
        """Drag the frame, or show what can be dragged."""
        if self._start is None:
            grip = None if event.buttons() or self._view.picking else self._grip_at(event.position())
            if grip is not None:
                self.setCursor(cursor_of(grip))
            else:
                self.unsetCursor()
                event.ignore()
            return
        rect, moved = self._view.picture_rect(), event.position() - self._from
        across, down = moved.x() / rect.width(), moved.y() / rect.height()
        self.changed.emit(dragged(self._start, self._ground, self._held, across, down), False)

    def mouseReleaseEvent(self, event: QMouseEvent, /) -> None:
        """Let go."""
        if self._start is None:
            event.ignore()
            return
        self.let_go()
        self.changed.emit(self.aim, True)

    def mouseDoubleClickEvent(self, event: QMouseEvent, /) -> None:
        """Leave it to the picture."""
        event.ignore()

    # -- keys and the like

    def event(self, event: QEvent, /) -> bool:
        """Take the frame's keys before the window makes something else of them."""
        if event.type() == QEvent.Type.ShortcutOverride and isinstance(event, QKeyEvent) and self._keyed(event) is not None:
            event.accept()
            return True
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent, /) -> None:
        """Move or scale the frame, or leave it."""
        aim = self._keyed(event)
        if event.key() == Qt.Key.Key_Escape:
            self.left.emit()
        elif aim is None:
            event.ignore()
        else:
            self.changed.emit(aim, True)

    def _keyed(self, event: QKeyEvent) -> Aim | None:
        shift = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
        plain = not event.modifiers() & ~(Qt.KeyboardModifier.ShiftModifier | Qt.KeyboardModifier.KeypadModifier)
        return keyed(self.aim, self._ground, event.key(), shift=shift) if plain else None
