"""The menu of a frame on the night strip."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QMenu

from lapsebench.core.filmlight import Peg
from lapsebench.gui.strip_canvas import StripCanvas
from lapsebench.gui.strip_handles import Grab


class FrameMenu(QMenu):
    """What can be done with a frame, and with the peg that was pointed at."""

    def __init__(self, canvas: StripCanvas, frame: int, peg: Peg | None = None) -> None:
        super().__init__(canvas)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self._canvas, self._frame = canvas, frame
        model = canvas.model
        index = model.index(frame) if model else None
        if model is None or index is None:
            return
        toggle = self.addAction(self.tr("Leave this frame out") if model.used[index] else self.tr("Take this frame in"))
        toggle.setEnabled(model.frames[index].readable)
        toggle.triggered.connect(lambda: canvas.frame_toggled.emit(frame))
        self.addSeparator()
        self.addAction(self.tr("Start the film here")).triggered.connect(lambda: self._cut(Grab.TRIM_IN, index))
        self.addAction(self.tr("End the film here")).triggered.connect(lambda: self._cut(Grab.TRIM_OUT, index))
        self.addSeparator()
        self._add_peg_action(index, peg or canvas.peg_of(frame))

    def _cut(self, grab: Grab, index: int) -> None:
        self._canvas.cut_at(grab, index, final=True)

    def _add_peg_action(self, index: int, held: Peg | None) -> None:
        """Offer to remove the peg that is there, or to set one."""
        canvas, frame, film_ev = self._canvas, self._frame, self._canvas.film_at(index)
        if held is not None:
            self.addAction(self.tr("Remove this peg")).triggered.connect(lambda: canvas.peg_removed.emit(held.frame))
            return
        place = self.addAction(self.tr("Set a peg here"))
        place.setEnabled(film_ev is not None)
        place.triggered.connect(lambda: canvas.peg_placed.emit(frame, film_ev))
