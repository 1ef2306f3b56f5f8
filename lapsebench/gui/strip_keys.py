"""The keys of the night strip."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent

from lapsebench.gui.strip_handles import Grab
from lapsebench.gui.strip_model import StripModel
from lapsebench.gui.strip_mouse import StripMouse

FRAMES, FRAMES_WIDE = 1, 10
"""Frames an arrow key goes, without and with Shift."""

PEG_STEP, PEG_STEP_WIDE = 0.1, 0.5
"""Stops an arrow key moves a peg, without and with Shift."""

ZOOM = 1.6


class StripKeys:
    """Left, Right, Home, End go along; I, O cut; +, -, Ctrl+0 zoom; Insert, Delete, Up, Down tend the peg; Esc lets go."""

    def __init__(self, canvas: StripMouse) -> None:
        self._canvas = canvas
        key = Qt.Key
        self._acts: dict[Qt.Key, Callable[[StripModel, bool], bool]] = {
            key.Key_Left: lambda model, wide: self._step(model, -FRAMES_WIDE if wide else -FRAMES),
            key.Key_Right: lambda model, wide: self._step(model, FRAMES_WIDE if wide else FRAMES),
            key.Key_Home: lambda model, _: self._go(model.trim[0] - model.first),
            key.Key_End: lambda model, _: self._go(model.trim[1] - model.first),
            key.Key_I: lambda model, _: self._cut(model, Grab.TRIM_IN),
            key.Key_O: lambda model, _: self._cut(model, Grab.TRIM_OUT),
            key.Key_Plus: lambda _, __: self._zoom(ZOOM),
            key.Key_Equal: lambda _, __: self._zoom(ZOOM),
            key.Key_Minus: lambda _, __: self._zoom(1 / ZOOM),
            key.Key_Insert: lambda model, _: self._place_peg(model),
            key.Key_Delete: lambda model, _: self._remove_peg(model),
            key.Key_Backspace: lambda model, _: self._remove_peg(model),
            key.Key_Up: lambda model, wide: self._lift_peg(model, PEG_STEP_WIDE if wide else PEG_STEP),
            key.Key_Down: lambda model, wide: self._lift_peg(model, -PEG_STEP_WIDE if wide else -PEG_STEP),
            key.Key_Escape: lambda _, __: self._canvas.cancel_drag(),
        }

    def press(self, event: QKeyEvent) -> bool:
        """Do what a key is for; return whether it was for anything here."""
        model, modifiers = self._canvas.model, event.modifiers()
        if model is None or not model.count or modifiers & Qt.KeyboardModifier.AltModifier:
            return False
        key = Qt.Key(event.key())
        if modifiers & Qt.KeyboardModifier.ControlModifier:
            if key is Qt.Key.Key_0:
                self._canvas.show_whole()
            return key is Qt.Key.Key_0
        act = self._acts.get(key)
        return act is not None and act(model, bool(modifiers & Qt.KeyboardModifier.ShiftModifier))

    def _go(self, index: int) -> bool:
        self._canvas.choose(index)
        return True

    def _step(self, model: StripModel, frames: int) -> bool:
        return self._go(model.playhead - model.first + frames)

    def _cut(self, model: StripModel, grab: Grab) -> bool:
        self._canvas.cut_at(grab, model.playhead - model.first, final=True)
        return True

    def _zoom(self, factor: float) -> bool:
        self._canvas.zoom(factor)
        return True

    def _peg_frame(self, model: StripModel) -> int:
        """Return the frame of the chosen peg, or else the frame under the playhead."""
        return model.playhead if self._canvas.chosen_peg is None else self._canvas.chosen_peg

    def _place_peg(self, model: StripModel) -> bool:
        index = model.index(model.playhead)
        film_ev = None if index is None else self._canvas.film_at(index)
        if film_ev is not None and self._canvas.peg_of(model.playhead) is None:
            self._canvas.peg_placed.emit(model.playhead, film_ev)
        return True

    def _remove_peg(self, model: StripModel) -> bool:
        peg = self._canvas.peg_of(self._peg_frame(model))
        if peg is not None:
            self._canvas.peg_removed.emit(peg.frame)
        return peg is not None

    def _lift_peg(self, model: StripModel, stops: float) -> bool:
        peg = self._canvas.peg_of(self._peg_frame(model))
        if peg is not None:
            self._canvas.move_peg(peg.frame, peg.film_ev + stops, final=True)
            self._canvas.refresh_film()
        return peg is not None
