"""The night strip: the keogram of a shot over its light plot, on one time axis, with handles, pegs and playhead."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from math import isfinite, nan

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QEvent, QPoint, QPointF, Qt, QTimer, Signal
from PySide6.QtGui import QContextMenuEvent, QFocusEvent, QHelpEvent, QKeyEvent
from PySide6.QtWidgets import QToolTip, QVBoxLayout, QWidget

from lapsebench.core.filmlight import FilmLight, Peg
from lapsebench.core.metering import FrameMeasure
from lapsebench.core.project import Project
from lapsebench.core.separation import Light
from lapsebench.core.sequence import Fault, Shot
from lapsebench.gui.strip_handles import peg_at
from lapsebench.gui.strip_keys import StripKeys
from lapsebench.gui.strip_legend import StripLegend
from lapsebench.gui.strip_marks import change_at, fault_at
from lapsebench.gui.strip_menu import FrameMenu
from lapsebench.gui.strip_model import Curve
from lapsebench.gui.strip_mouse import StripMouse
from lapsebench.gui.strip_readout import StripReadout
from lapsebench.gui.strip_style import DARK, LIGHT
from lapsebench.gui.words import Words

SURVEY_REPAINT_MS = 100
"""While frames are being measured the strip is drawn anew at most this often."""


class NightStrip(QWidget):
    """Shows one shot and lets the user scrub, trim, set pegs and leave frames out. Frames in signals are project numbers."""

    frame_chosen = Signal(int)
    trim_changed = Signal(int, int, bool)  # in, out, final: False while dragging
    peg_placed = Signal(int, float)  # frame, film light in stops
    peg_moved = Signal(int, float, bool)  # frame, film light in stops, final: False while dragging
    peg_removed = Signal(int)
    frame_toggled = Signal(int)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName(self.tr("Night strip"))
        self.setAccessibleDescription(self.tr("Keogram over light plot. Arrow keys go from frame to frame, I and O cut."))
        self.legend = StripLegend(self)
        self.canvas = StripMouse(self)
        self.readout = StripReadout(self)
        self._words = Words(self)
        self.canvas.setFocusPolicy(Qt.FocusPolicy.ClickFocus)  # before the proxy is set: the proxy would take it over
        self.canvas.setFocusProxy(self)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(2)
        column.addWidget(self.legend)
        column.addWidget(self.canvas, 1)
        column.addWidget(self.readout)
        self._survey = QTimer(self, singleShot=True, interval=SURVEY_REPAINT_MS)
        self._survey.timeout.connect(self._show_measured)
        self._keys = StripKeys(self.canvas)
        self._hover = -1
        self._connect()
        self._show_empty()

    def show_shot(self, project: Project, shot: Shot) -> None:
        """Show a shot with its trim and pegs; curves appear with `add_measure` and `show_light`.

        Keogram, luminance and zoom stay where the very same frames were shown before.
        """
        self.canvas.show_shot(project, shot)
        self._hover = -1
        self.legend.setVisible(True)
        self.readout.setVisible(True)
        self._read_out()

    def clear(self) -> None:
        """Show that there is no shot."""
        self._survey.stop()
        self.canvas.clear()
        self._show_empty()

    def add_measure(self, frame: int, measure: FrameMeasure, column: NDArray[np.uint8] | None = None) -> None:
        """Take a measured frame: its luminance and keogram `column` appear with the next repaint, at most ten a second.

        The column is (h, 3) sRGB of any height, the measure's own where not given.
        """
        model = self.canvas.model
        index = model.index(frame) if model else None
        if model is None or index is None:
            return
        model.set_measure(index, measure)
        self.canvas.keogram.put(index, measure.column if column is None else column)
        if not self._survey.isActive():
            self._survey.start()

    def show_light(self, light: Light, film: FilmLight, used: Collection[int]) -> None:
        """Show the light of the shot; arrays run over all frames of the project, `used` are those in the film."""
        if self.canvas.model is not None:
            self.canvas.model.set_light(light, film, used)
            self.canvas.refresh()
            self._read_out()

    def show_film(self, film: FilmLight) -> None:
        """Show another film light, fast enough for every step of a slider."""
        if self.canvas.model is not None:
            self.canvas.model.set_film(film)
            self.canvas.refresh_film()
            self._read_out()

    def set_playhead(self, frame: int) -> None:
        """Move the playhead without a signal."""
        self.canvas.put_playhead(frame)
        self._read_out()

    def set_pegs(self, pegs: Sequence[Peg]) -> None:
        """Show these pegs; those outside the shot are not seen."""
        self.canvas.set_pegs(tuple(pegs))

    def set_trim(self, first: int, last: int) -> None:
        """Put the in and out handles at frames `first` and `last`, without a signal."""
        if self.canvas.model is not None:
            self.canvas.model.trim = (first, last)
            self.canvas.refresh_grips()

    def set_theme(self, dark: bool) -> None:
        """Use the dark or the light colours."""
        style = DARK if dark else LIGHT
        self.canvas.set_style(style)
        self.legend.set_style(style)

    def contextMenuEvent(self, event: QContextMenuEvent) -> None:
        """Open the menu of the frame under the pointer, or by keyboard of the one under the playhead."""
        model, view = self.canvas.model, self.canvas.view
        if model is None or not model.count:
            return
        pos = self.canvas.mapFromGlobal(event.globalPos()).toPointF()
        peg, frame, at = peg_at(view, model, pos), model.first + view.index(pos.x()), event.globalPos()
        if event.reason() is QContextMenuEvent.Reason.Keyboard:
            peg, frame = None, model.playhead
            at = self.canvas.mapToGlobal(QPoint(round(view.x(frame - model.first)), round(view.plot.center().y())))
        FrameMenu(self.canvas, frame, peg).popup(at)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Go from frame to frame, cut, zoom and tend pegs by keyboard."""
        if not self._keys.press(event):
            super().keyPressEvent(event)

    def event(self, event: QEvent) -> bool:
        """Answer the question what a mark means."""
        if isinstance(event, QHelpEvent) and event.type() is QEvent.Type.ToolTip and self.canvas.model is not None:
            pos = self.canvas.mapFromGlobal(event.globalPos()).toPointF()
            QToolTip.showText(event.globalPos(), self.hint_at(pos), self.canvas)
            return True
        return super().event(event)

    def hint_at(self, pos: QPointF) -> str:
        """Return what the mark at a point of the canvas means: a fault or a setting change; nothing elsewhere."""
        if self.canvas.model is None:
            return ""
        index = fault_at(self.canvas.view, self.canvas.model, pos)
        change = change_at(self.canvas.view, self.canvas.model, pos)
        if index is not None:
            return self.fault_hint(index)
        return change.text if change is not None else ""

    def fault_hint(self, index: int) -> str:
        """Return the file at a place in the shot and what is wrong with it."""
        frame = self.canvas.model.frames[index] if self.canvas.model else None
        if frame is None:
            return ""
        names = ", ".join(self.readout.fault_text(f) for f in sorted(frame.faults))
        error = float(self.canvas.model.error[index]) if self.canvas.model else nan
        unsure = self._words.uncertain(error) if Fault.UNCERTAIN in frame.faults and isfinite(error) else ""
        return "\n".join(part for part in (f"{frame.name}: {names}", frame.problem, unsure) if part)

    def _show_measured(self) -> None:
        """Draw what was measured since the last repaint."""
        if self.canvas.model is not None:
            self.canvas.model.align()
            self.canvas.refresh()
            self._read_out()

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Show that keys go here."""
        super().focusInEvent(event)
        self.canvas.layers.show_focus(True)

    def focusOutEvent(self, event: QFocusEvent) -> None:
        """Show that keys go elsewhere."""
        super().focusOutEvent(event)
        self.canvas.layers.show_focus(False)

    def _connect(self) -> None:
        canvas, legend = self.canvas, self.legend
        for mine, theirs in (
            (self.frame_chosen, canvas.frame_chosen),
            (self.trim_changed, canvas.trim_changed),
            (self.peg_placed, canvas.peg_placed),
            (self.peg_moved, canvas.peg_moved),
            (self.peg_removed, canvas.peg_removed),
            (self.frame_toggled, canvas.frame_toggled),
        ):
            theirs.connect(mine)
        canvas.frame_chosen.connect(self._follow)
        canvas.hovered.connect(self._point_at)
        legend.curve_toggled.connect(self._toggle_curve)
        legend.zoomed.connect(canvas.zoom)
        legend.whole_wanted.connect(canvas.show_whole)

    def _toggle_curve(self, curve: Curve, shown: bool) -> None:
        self.canvas.layers.hidden ^= {curve} if shown == (curve in self.canvas.layers.hidden) else set()
        self.canvas.refresh()

    def _follow(self, _frame: int) -> None:
        """Read out the frame that was just chosen, wherever the pointer is."""
        self._point_at(-1)

    def _point_at(self, index: int) -> None:
        """Read out the frame under the pointer, or the one under the playhead where there is none."""
        self._hover = index
        self._read_out()

    def _read_out(self) -> None:
        model = self.canvas.model
        if model is not None:
            pointed = self._hover if 0 <= self._hover < model.count else model.index(model.playhead)
            self.readout.show_frame(model, pointed)

    def _show_empty(self) -> None:
        self._hover = -1
        self.legend.setVisible(False)
        self.readout.setVisible(False)
