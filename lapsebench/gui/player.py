"""Playback: the clock decides which frame is due, so the film's rate is kept and late frames are dropped."""

from __future__ import annotations

import time
from bisect import bisect_left
from collections.abc import Callable

from PySide6.QtCore import QObject, Qt, QTimer, Signal

from lapsebench.gui.session import Session

_MOST_SPEED = 8


class Player(QObject):
    """Moves the playhead through the frames of the film. `speed` is 0 at rest, negative backwards."""

    playing_changed = Signal(bool)
    speed_changed = Signal(int)

    def __init__(
        self, session: Session, parent: QObject | None = None, *, clock: Callable[[], float] = time.perf_counter
    ) -> None:
        super().__init__(parent)
        self._session, self._clock = session, clock
        self.loop = True
        self.speed = 0
        self._frames: list[int] = []
        self._from, self._since = 0, 0.0
        self._moving = False
        self._timer = QTimer(self, timerType=Qt.TimerType.PreciseTimer)
        self._timer.timeout.connect(self.advance)
        session.project_changed.connect(self._rebase)
        session.playhead_changed.connect(self._moved_by_hand)
        session.opened.connect(self.pause)

    @property
    def playing(self) -> bool:
        """Whether the film runs."""
        return self.speed != 0

    def toggle(self) -> None:
        """Play or pause."""
        self.pause() if self.playing else self._run(1)

    def forward(self) -> None:
        """Play forward; again: twice as fast."""
        self._run(min(self.speed * 2, _MOST_SPEED) if self.speed > 0 else 1)

    def back(self) -> None:
        """Play backward; again: twice as fast."""
        self._run(max(self.speed * 2, -_MOST_SPEED) if self.speed < 0 else -1)

    def pause(self) -> None:
        """Stop where the playhead is."""
        if self.playing:
            self.speed = 0
            self._timer.stop()
            self.speed_changed.emit(0)
            self.playing_changed.emit(False)

    def set_loop(self, loop: bool) -> None:
        """Choose whether the shot starts anew at its end."""
        self.loop = loop

    def _run(self, speed: int) -> None:
        started, self.speed = not self.playing, speed
        self._rebase()
        if len(self._frames) < 2:
            self.pause()
            return
        at_end = self._from in (0, len(self._frames) - 1)
        if started and at_end and (self._from > 0) == (speed > 0):
            self._from = 0 if speed > 0 else len(self._frames) - 1
        self._timer.start(max(5, round(500 / float(self._session.project.film.fps))))
        self.speed_changed.emit(speed)
        if started:
            self.playing_changed.emit(True)

    def advance(self) -> None:
        """Show the frame that is due now."""
        count = len(self._frames)
        if not count:
            self.pause()
            return
        passed = (self._clock() - self._since) * float(self._session.project.film.fps) * self.speed
        due = self._from + int(passed)
        if self.loop:
            self._show(due % count)
        elif 0 <= due < count:
            self._show(due)
        elif not self._next_shot():
            self._show(min(max(due, 0), count - 1))
            self.pause()

    def _show(self, place: int) -> None:
        self._moving = True
        self._session.move_to(self._frames[place])
        self._moving = False

    def _next_shot(self) -> bool:
        used, ends = self._session.used, (self._frames[0], self._frames[-1])
        onward = [f for f in used if f > ends[1]] if self.speed > 0 else [f for f in used[::-1] if f < ends[0]]
        if not onward:
            return False
        self._session.move_to(onward[0])
        return True

    def _moved_by_hand(self) -> None:
        if self.playing and not self._moving:
            self._rebase()

    def _rebase(self) -> None:
        """Count from the playhead and from now."""
        if not self.playing:
            return
        self._frames = self._session.used_in_shot()
        self._from = min(bisect_left(self._frames, self._session.playhead), max(len(self._frames) - 1, 0))
        self._since = self._clock()
