"""The mouse on the night strip: scrub, pan, zoom, and drag handles and pegs."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QPointF, Qt
from PySide6.QtGui import QMouseEvent, QWheelEvent

from lapsebench.gui.strip_canvas import StripCanvas
from lapsebench.gui.strip_handles import Drag, Grab, grab_at, peg_at

_CURSORS = {
    Grab.PLAYHEAD: Qt.CursorShape.ArrowCursor,
    Grab.TRIM_IN: Qt.CursorShape.SplitHCursor,
    Grab.TRIM_OUT: Qt.CursorShape.SplitHCursor,
    Grab.PEG: Qt.CursorShape.SizeVerCursor,
    Grab.PAN: Qt.CursorShape.ClosedHandCursor,
}


class StripMouse(StripCanvas):
    """The canvas with the mouse at work on it."""

    def cancel_drag(self) -> bool:
        """Put back what is being dragged; return whether anything was."""
        drag, self._drag = self._drag, None
        if drag is None or self.model is None:
            return False
        if drag.grab in (Grab.TRIM_IN, Grab.TRIM_OUT) and drag.moved:
            self.model.trim = drag.trim
            self.trim_changed.emit(*drag.trim, True)
        if drag.peg is not None and drag.moved:
            self.move_peg(drag.peg.frame, drag.peg.film_ev, final=True)
        self.unsetCursor()
        self.refresh_grips()
        return True

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Take hold of what is under the pointer."""
        if self.model is None or not self.model.count or self._drag is not None:
            return
        pos, buttons = event.position(), event.button()
        shifted = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
        if buttons is Qt.MouseButton.MiddleButton or (buttons is Qt.MouseButton.LeftButton and shifted):
            grab = Grab.PAN
        elif buttons is Qt.MouseButton.LeftButton:
            grab = grab_at(self.view, self.model, pos)
        else:
            return
        peg = peg_at(self.view, self.model, pos) if grab is Grab.PEG else None
        self.chosen_peg = peg.frame if peg else None
        self._drag = Drag(grab, pos, self.model.trim, self.view.left, peg)
        self.setCursor(_CURSORS[grab])
        if grab is Grab.PLAYHEAD and self._scrubs(pos):
            self.choose(self.view.index(pos.x()))
        self.refresh_grips()

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Move what is held, or tell what lies under the pointer."""
        pos = event.position()
        if self.model is None or not self.model.count:
            return
        if self._drag is None:
            self.setCursor(_CURSORS[grab_at(self.view, self.model, pos)])
            inside = self.view.plot.left() <= pos.x() <= self.view.plot.right()
            self.hovered.emit(self.view.index(pos.x()) if inside else -1)
            return
        self._drag.moved = self._drag.moved or (pos - self._drag.origin).manhattanLength() >= 3
        if self._drag.moved:
            self._pull(self._drag, pos)

    def _pull(self, drag: Drag, pos: QPointF) -> None:
        """Let what is held follow the pointer."""
        if drag.grab is Grab.PLAYHEAD:
            self.choose(self.view.index(pos.x()))
            self.hovered.emit(-1)
        elif drag.grab is Grab.TRIM_IN:
            self.cut_at(drag.grab, round(self.view.place(pos.x()) + 0.5), final=False)
        elif drag.grab is Grab.TRIM_OUT:
            self.cut_at(drag.grab, round(self.view.place(pos.x()) - 0.5), final=False)
        elif drag.grab is Grab.PAN:
            self.view.pan_to(drag.left - (pos.x() - drag.origin.x()) / self.view.column)
            self.follow()
        elif drag.peg is not None:
            up = (drag.origin.y() - pos.y()) * (self.view.high - self.view.low) / self.view.plot.height()
            film_ev = min(max(drag.peg.film_ev + up, self.view.low), self.view.high)
            self.move_peg(drag.peg.frame, film_ev, final=False)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Let go; a handle or peg that was only clicked chooses its frame."""
        drag = self._drag
        if (
            drag is None
            or self.model is None
            or event.button() not in (Qt.MouseButton.LeftButton, Qt.MouseButton.MiddleButton)
        ):
            return
        self._drag = None
        self.setCursor(_CURSORS[grab_at(self.view, self.model, event.position())])
        if not drag.moved:
            if drag.grab not in (Grab.PAN, Grab.PLAYHEAD):
                self.choose(drag.peg.frame - self.model.first if drag.peg else self.view.index(drag.origin.x()))
            return
        if drag.grab in (Grab.TRIM_IN, Grab.TRIM_OUT):
            self.trim_changed.emit(*self.model.trim, True)
        elif drag.peg is not None:
            held = self.peg_of(drag.peg.frame) or drag.peg
            self.move_peg(held.frame, held.film_ev, final=True)
            self.refresh_film()

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        """Set a peg at the clicked frame and height."""
        pos = event.position()
        if self.model is None or event.button() is not Qt.MouseButton.LeftButton or not self.view.plot.contains(pos):
            return
        if peg_at(self.view, self.model, pos) is None:
            self.peg_placed.emit(self.model.first + self.view.index(pos.x()), self.view.ev(pos.y()))

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Zoom along time about the pointer; a sideways wheel pans."""
        if self.model is None:
            return
        turn = event.angleDelta()
        if abs(turn.x()) > abs(turn.y()):
            self.view.pan_to(self.view.left - turn.x() / 120 * 0.1 * self.view.span)
            self.follow()
        elif turn.y():
            self.zoom(1.25 ** (turn.y() / 120), self.view.place(event.position().x()))
        event.accept()

    def leaveEvent(self, event: QEvent) -> None:
        """Tell that no frame is under the pointer."""
        super().leaveEvent(event)
        self.hovered.emit(-1)

    def _scrubs(self, pos: QPointF) -> bool:
        """Whether a press here moves the playhead: anywhere but the gutters."""
        return self.view.plot.left() <= pos.x() <= self.view.plot.right()
