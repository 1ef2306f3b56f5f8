"""Ties the night strip to the session: what it shows, and what is done on it."""

from __future__ import annotations

from math import isfinite

from PySide6.QtCore import QObject

from lapsebench.core.balance import Multipliers
from lapsebench.gui.commands import place_peg, remove_peg, trim_shot
from lapsebench.gui.nightstrip import NightStrip
from lapsebench.gui.session import Session
from lapsebench.services.balances import shown_codes


class StripLink(QObject):
    """Keeps the strip on the session's shot, and turns drags on it into edits."""

    def __init__(self, session: Session, strip: NightStrip, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._session, self._strip = session, strip
        self._used: list[int] = []
        self._clocks = session.project.clocks
        self._balance: Multipliers | None = None
        self._dragging = False
        session.shot_changed.connect(self._let_go)
        session.shot_changed.connect(self._show_shot)
        session.surveyed.connect(self._show_shot)
        session.measured.connect(self._show_measure)
        session.film_light_changed.connect(self._show_film)
        session.project_changed.connect(self._show_project)
        session.playhead_changed.connect(self._show_playhead)
        strip.frame_chosen.connect(session.move_to)
        strip.trim_changed.connect(self._trim)
        strip.peg_placed.connect(self.place_peg)
        strip.peg_moved.connect(self._move_peg)
        strip.peg_removed.connect(self._remove_peg)
        strip.frame_toggled.connect(session.toggle_frame)

    # -- session to strip

    def _show_shot(self) -> None:
        session, shot = self._session, self._session.shot
        if shot is None:
            return
        self._clocks, self._balance = session.project.clocks, session.project.frames[shot.first].shown_balance
        self._strip.show_shot(session.project, shot)
        for frame in shot.frames:
            if frame in session.measures:
                self._add(frame)
        self._show_light()
        self._show_marks()
        self._show_playhead()

    def _show_light(self) -> None:
        session = self._session
        if session.survey is not None and session.film_light is not None:
            self._used = session.used
            self._strip.show_light(session.survey.light, session.film_light, frozenset(session.used))

    def _show_film(self) -> None:
        session = self._session
        if session.used != self._used:
            self._show_light()
        elif session.film_light is not None:
            self._strip.show_film(session.film_light)

    def _show_measure(self, frame: int) -> None:
        shot = self._session.shot
        if shot is not None and frame in shot.frames:
            self._add(frame)

    def _add(self, frame: int) -> None:
        measure = self._session.measures[frame]
        self._strip.add_measure(frame, measure, shown_codes(measure.column, self._session.project.frames[frame]))

    def _show_project(self) -> None:
        shot = self._session.shot
        balance = None if shot is None else self._session.project.frames[shot.first].shown_balance
        if self._session.project.clocks != self._clocks or balance != self._balance:
            self._show_shot()
        else:
            self._show_marks()

    def _show_marks(self) -> None:
        shot = self._session.shot
        if shot is not None:
            self._strip.set_pegs([peg for peg in self._session.project.light.pegs if peg.frame in shot.frames])
            self._strip.set_trim(shot.trim_in, shot.trim_out)

    def _show_playhead(self) -> None:
        self._strip.set_playhead(self._session.playhead)

    # -- strip to session

    def _trim(self, first: int, last: int, finished: bool) -> None:
        self._drag(finished)
        edit = trim_shot(self._session.shot_index, first, last)
        self._session.edit(self.tr("Set in and out"), edit, merge="trim")
        self._drop(finished)

    def _move_peg(self, frame: int, film_ev: float, finished: bool) -> None:
        self._drag(finished)
        self._session.edit(self.tr("Move a peg"), place_peg(frame, film_ev), merge=f"peg {frame}")
        self._drop(finished)

    def place_peg(self, frame: int, film_ev: float) -> None:
        """Hold a frame's film light (stops) by hand."""
        if isfinite(film_ev):
            self._session.edit(self.tr("Place a peg"), place_peg(frame, film_ev))

    def peg_at_playhead(self) -> None:
        """Put a peg on the playhead's frame at its present film light, or take the one there away."""
        session = self._session
        if any(peg.frame == session.playhead for peg in session.project.light.pegs):
            self._remove_peg(session.playhead)
        elif session.film_light is not None:
            self.place_peg(session.playhead, float(session.film_light.film_ev[session.playhead]))

    def _remove_peg(self, frame: int) -> None:
        self._session.edit(self.tr("Remove a peg"), remove_peg(frame))

    def _drag(self, finished: bool) -> None:
        if not finished and not self._dragging:
            self._dragging = True
            self._session.hold_gesture()

    def _let_go(self) -> None:
        """End a drag whose shot is shown no more: the strip will not tell of its end."""
        self._drop(self._dragging)

    def _drop(self, finished: bool) -> None:
        if finished:
            self._dragging = False
            self._session.end_gesture()
