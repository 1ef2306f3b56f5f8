"""The drawn part of the night strip: keeps what is shown and fits it to the canvas."""

from __future__ import annotations

from dataclasses import replace
from math import isfinite

from PySide6.QtCore import QEvent, QRectF, Qt, Signal
from PySide6.QtGui import QFont, QFontMetricsF, QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from lapsebench.core.filmlight import Peg
from lapsebench.core.project import Project
from lapsebench.core.sequence import Shot
from lapsebench.gui.strip_handles import Drag, Grab
from lapsebench.gui.strip_keogram import Keogram
from lapsebench.gui.strip_layers import StripLayers
from lapsebench.gui.strip_marks import mark_rows
from lapsebench.gui.strip_model import StripModel
from lapsebench.gui.strip_style import DARK, Style
from lapsebench.gui.strip_view import StripView


class StripCanvas(QWidget):
    """Keogram over light plot. Frames in signals are numbers of the project."""

    frame_chosen = Signal(int)
    trim_changed = Signal(int, int, bool)
    peg_placed = Signal(int, float)
    peg_moved = Signal(int, float, bool)
    peg_removed = Signal(int)
    frame_toggled = Signal(int)
    hovered = Signal(int)  # place in the shot under the pointer, -1 where it left

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.view = StripView()
        self.layers = StripLayers(self.view, DARK, self)
        self.model: StripModel | None = None
        self.keogram = Keogram(0)
        self.chosen_peg: int | None = None
        self._drag: Drag | None = None
        self.setMouseTracking(True)
        self.setMinimumHeight(150)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    def show_shot(self, project: Project, shot: Shot) -> None:
        """Show a shot; keogram, luminance and view stay where the very same frames were shown before."""
        old, self.model = self.model, StripModel(project, shot)
        if old is not None and self.model.same_frames(old):
            self.model.luminance, self.model.playhead = old.luminance, old.playhead
        else:
            self.keogram = Keogram(self.model.count)
            self.view.set_count(self.model.count)
            self.chosen_peg = self._drag = None
        self.model.align()
        self.set_pegs(self.model.pegs)
        self.lay_out()

    def clear(self) -> None:
        """Show that there is nothing to see yet."""
        self.model, self._drag, self.keogram = None, None, Keogram(0)
        self.refresh()

    def lay_out(self) -> None:
        """Share out the canvas anew and show everything."""
        rows = mark_rows(self.model) if self.model else 0
        row = float(round(QFontMetricsF(self._font()).height()))
        self.view.lay_out(self.width(), self.height(), row=row, mark_rows=rows)
        self.layers.lay_out(QRectF(self.rect()), self._font())
        self.refresh()

    def refresh(self) -> None:
        """Fit the stops to what is seen and show everything anew, or one calm line where there is no shot."""
        empty = self.model is None or not self.model.count
        self.layers.plots.setVisible(not empty)
        if self.model is not None and not empty:
            self._fit()
            self.layers.show(self.model, self.keogram, self.chosen_peg)
        self.update()

    def follow(self) -> None:
        """Show the frames that are in view now, with the stops fitted to them."""
        if self.model is not None and self.model.count:
            self._fit()
            self.layers.follow(self.model, self.keogram, self.chosen_peg)

    def refresh_film(self) -> None:
        """Show the film light anew, and more only where the stops no longer fit."""
        if self.model is None or not self.model.count:
            return
        if self._fit():
            self.layers.show_stops(self.model)
        self.layers.curves.show_film(self.model, self.view)

    def refresh_grips(self) -> None:
        """Show trim, pegs and playhead anew."""
        if self.model is not None and self.model.count:
            self.layers.show_grips(self.model, self.chosen_peg)

    def set_style(self, style: Style) -> None:
        """Use the colours of a theme."""
        self.layers.style = style
        self.lay_out()

    def choose(self, index: int) -> None:
        """Move the playhead to a place in the shot, as the user did, and say so if it is another frame."""
        if self.model is None:
            return
        frame = self.model.first + min(max(index, 0), self.model.count - 1)
        if frame != self.model.playhead:
            self.put_playhead(frame)
            self.frame_chosen.emit(frame)

    def put_playhead(self, frame: int) -> None:
        """Move the playhead to a frame and turn the page to it where it is out of sight."""
        if self.model is None:
            return
        self.model.playhead = frame
        index = self.model.index(frame)
        held = self._drag is not None and self._drag.grab is not Grab.PLAYHEAD
        if index is not None and not held and self.view.reveal(index):
            self.follow()
        elif self.model.count:
            self.layers.show_playhead(self.model)

    def zoom(self, factor: float, about: float | None = None) -> None:
        """See `factor` times fewer frames about a place, by default the playhead where it is seen."""
        if self.model is None:
            return
        if about is None:
            place = self.model.playhead - self.model.first
            middle = (self.view.left + self.view.right) / 2
            about = place if self.view.left <= place <= self.view.right else middle
        self.view.zoom(factor, about)
        self.follow()

    def show_whole(self) -> None:
        """Show every frame of the shot."""
        self.view.show_whole()
        self.follow()

    def cut_at(self, grab: Grab, index: int, *, final: bool) -> None:
        """Move the in or out handle to a place in the shot, never past the other one, and say so."""
        if self.model is None:
            return
        first, last = self.model.trim
        frame = min(max(self.model.first + index, self.model.first), self.model.first + self.model.count - 1)
        trim = (min(frame, last), last) if grab is Grab.TRIM_IN else (first, max(frame, first))
        if trim != self.model.trim or final:
            self.model.trim = trim
            self.refresh_grips()
            self.trim_changed.emit(*trim, final)

    def set_pegs(self, pegs: tuple[Peg, ...]) -> None:
        """Show these pegs; one that is being dragged and is no longer there is let go."""
        if self.model is None:
            return
        self.model.set_pegs(pegs)
        frames = {peg.frame for peg in self.model.pegs}
        if self._drag is not None and self._drag.peg is not None and self._drag.peg.frame not in frames:
            self._drag = None
        if self.chosen_peg not in frames:
            self.chosen_peg = None
        self.refresh_film()
        self.refresh_grips()

    def film_at(self, index: int) -> float | None:
        """Return the film light at a place in the shot, stops; the luminance while there is none; None where unknown."""
        if self.model is None:
            return None
        known = [v for v in (self.model.film[index], self.model.luminance[index]) if isfinite(v)]
        return float(known[0]) if known else None

    def peg_of(self, frame: int) -> Peg | None:
        """Return the peg of a frame."""
        return next((p for p in self.model.pegs if p.frame == frame), None) if self.model else None

    def move_peg(self, frame: int, film_ev: float, *, final: bool) -> None:
        """Move a peg up or down and say so."""
        if self.model is not None:
            self.model.set_pegs([replace(p, film_ev=film_ev) if p.frame == frame else p for p in self.model.pegs])
            self.refresh_grips()
            self.peg_moved.emit(frame, film_ev, final)

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Paint one calm line where there is no shot; else the layers lie over this."""
        painter = QPainter(self)
        painter.fillRect(self.rect(), self.layers.style.ground)
        painter.setFont(self._font())
        painter.setPen(self.layers.style.muted)
        text = self.tr("The night appears here once frames are gathered.")
        painter.drawText(self.rect(), Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap, text)
        painter.end()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Share out the canvas anew."""
        super().resizeEvent(event)
        self.lay_out()

    def event(self, event: QEvent) -> bool:
        """Share out the canvas anew where letters or pixels got another size."""
        known = super().event(event)
        if event.type() in (QEvent.Type.FontChange, QEvent.Type.DevicePixelRatioChange):
            self.lay_out()
        return known

    def _fit(self) -> bool:
        """Fit the range of stops to what is seen, and return whether it changed; a peg that is dragged must not run away."""
        if self.model is None or (self._drag is not None and self._drag.peg is not None):
            return False
        return self.view.fit(*self.model.wanted_range(*self.view.visible(), self.layers.hidden))

    def _font(self) -> QFont:
        """Return the font of scales and labels, a little smaller than the window's."""
        font = QFont(self.font())
        if font.pointSizeF() > 0:
            font.setPointSizeF(max(font.pointSizeF() * 0.9, 7.0))
        return font
