"""The state behind the window: one project, its measures and light, the playhead, and the undo steps."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import replace
from math import isfinite

from PySide6.QtCore import QObject, QTimer, Signal
from PySide6.QtGui import QUndoStack

from lapsebench.core.curves import Responses
from lapsebench.core.filmlight import FilmLight
from lapsebench.core.gains import GainEv
from lapsebench.core.look import Look
from lapsebench.core.metering import FrameMeasure
from lapsebench.core.project import Project
from lapsebench.core.sequence import Frame, Shot
from lapsebench.core.shots import split_shot
from lapsebench.errors import LapsebenchError
from lapsebench.gui.commands import Edit, EditCommand, toggle_frame, toggle_frames
from lapsebench.services import survey as surveying
from lapsebench.services.balances import balanced
from lapsebench.services.finish import Finish, finish_of
from lapsebench.services.metering import Metering

_GESTURE_MS = 800  # key presses on a slider closer than this are one step


class Session(QObject):
    """Holds what the window shows; every change of the project passes through `edit` and can be undone."""

    opened = Signal()
    project_changed = Signal()
    measured = Signal(int)
    surveyed = Signal()
    film_light_changed = Signal()
    shot_changed = Signal()
    playhead_changed = Signal()

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.undo_stack = QUndoStack(self)
        self.project = Project()
        self.notes: tuple[str, ...] = ()
        self._gathered_notes: tuple[str, ...] = ()
        self.measures: dict[int, FrameMeasure] = {}
        self.survey: surveying.Survey | None = None
        self.film_light: FilmLight | None = None
        self._responses: tuple[Responses, ...] = ()
        self.used: list[int] = []
        self.playhead = 0
        self.shot_index = 0
        self._starts: dict[int, str] = {}
        """First frames of the shots that surveys found, and why each starts."""
        self._gesture, self._held = 0, False
        self._idle = QTimer(self, singleShot=True, interval=_GESTURE_MS)
        self._idle.timeout.connect(self._next_gesture)

    # -- what is here

    @property
    def shot(self) -> Shot | None:
        """The shot under the playhead, None while nothing is open."""
        return self.project.shots[self.shot_index] if self.project.shots else None

    @property
    def frame(self) -> Frame | None:
        """The frame under the playhead, None while nothing is open."""
        return self.project.frames[self.playhead] if self.project.frames else None

    def gain(self, frame: int) -> float:
        """Return the gain (stops) of a frame in the film; 0 while it is unknown."""
        if self.film_light is None or frame >= self.film_light.gain_ev.size:
            return 0.0
        gain = float(self.film_light.gain_ev[frame])
        return gain if isfinite(gain) else 0.0

    def gains_of(self, frame: int) -> GainEv:
        """Return the stops a frame gets in the film, one or of R, G and B; 0 while they are unknown."""
        if self.film_light is None or frame >= self.film_light.gain_ev.size:
            return 0.0
        return self.film_light.gains_of(frame)

    @property
    def responses(self) -> tuple[Responses, ...]:
        """The responses of every frame that its gain was measured through; none before the survey."""
        return self._responses

    def responses_of(self, frame: int) -> Responses:
        """Return the responses of a frame, none while they are unknown."""
        return self._responses[frame] if frame < len(self._responses) else ()

    def finish_of(self, frame: int) -> Finish:
        """Return what is done to a frame after its gain; a look-up table that can't be read is left out."""
        look = self.project.shots[self._shot_of(frame)].look if self.project.shots else Look()
        try:
            return finish_of(look)
        except LapsebenchError:
            return finish_of(replace(look, lut=None))

    def share_of(self, frame: int) -> float:
        """Return at what share 0..1 of its shot's film time a frame is shown, of those left out that of the next one in."""
        shot = self.project.shots[self._shot_of(frame)]
        used = [number for number in self.used if number in shot.frames]
        return min(bisect_left(used, frame), len(used) - 1) / (len(used) - 1) if len(used) > 1 else 0.0

    def used_in_shot(self) -> list[int]:
        """Return the frames of the current shot that are played: those in the film, else all from in to out."""
        shot = self.shot
        if shot is None:
            return []
        used = [frame for frame in self.used if shot.first <= frame <= shot.last]
        return used or [frame for frame in shot.trimmed if self.project.frames[frame].readable]

    # -- opening and surveying

    def open(self, project: Project, notes: Sequence[str]) -> None:
        """Start on freshly gathered frames; what was there before is gone, undo steps too."""
        self.undo_stack.clear()
        self._next_gesture()
        self.project = project
        self.notes = self._gathered_notes = tuple(notes)
        self.measures, self.survey, self.film_light, self._starts = {}, None, None, {}
        self._responses = ()
        self.playhead = self.shot_index = 0
        self.used = surveying.used_frames(project)
        self.opened.emit()
        self.project_changed.emit()
        self.shot_changed.emit()
        self.playhead_changed.emit()

    def add_measure(self, frame: int, measure: FrameMeasure) -> None:
        """Keep the measure of a frame as it comes in."""
        self.measures[frame] = measure
        self.measured.emit(frame)

    def finish_survey(self, survey: surveying.Survey) -> None:
        """Take over the found faults, shots and light; what the user decided in the meantime stays, undo steps too."""
        found, count = survey.project, len(self.project.shots)
        self._starts |= {shot.first: shot.why for shot in found.shots}
        shots = self._split(self.project.shots)
        self.project = balanced(replace(self.project, frames=found.frames, curves=found.curves, shots=shots))
        self.shot_index = self._shot_of(self.playhead)
        self.survey = survey
        self._responses = surveying.responses_at(survey)
        self.notes = tuple(dict.fromkeys((*self._gathered_notes, *survey.notes)))
        self.measures = {i: m for i, m in enumerate(survey.measures) if m is not None}
        self._refresh()
        if len(self.project.shots) != count:
            self.shot_changed.emit()
        self.surveyed.emit()

    def metering(self) -> Metering | None:
        """Return what was measured of the current shot; None while that is unknown."""
        shot, survey = self.shot, self.survey
        if shot is None or survey is None or len(survey.shot_lights) != len(survey.project.shots):
            return None
        pairs = zip(survey.project.shots, survey.shot_lights, strict=True)
        return next((light.metering for known, light in pairs if known.first == shot.first), None)

    # -- editing

    @property
    def dragging(self) -> bool:
        """Whether a drag is under way whose steps become one."""
        return self._held

    def edit(self, text: str, edit: Edit, *, merge: str | None = None) -> None:
        """Apply `edit` as one undo step called `text`; steps with the same `merge` word in one gesture become one."""
        new = edit(self.project)
        if new == self.project:
            return
        key = None if merge is None else (merge, self._gesture)
        self.undo_stack.push(EditCommand(text, self.project, new, self._apply, key))
        if merge is None:
            self._next_gesture()
        elif not self._held:
            self._idle.start()

    def toggle_frame(self, frame: int) -> None:
        """Take a frame in or leave it out."""
        out = self.project.keeps(frame)
        self.edit(self.tr("Leave a frame out") if out else self.tr("Take a frame in"), toggle_frame(frame))

    def toggle_frames(self, frames: Sequence[int]) -> None:
        """Take frames in or leave them out together; all are in, or all are out."""
        out = self.project.keeps(frames[0])
        self.edit(self.tr("Leave frames out") if out else self.tr("Take frames in"), toggle_frames(frames))

    def hold_gesture(self) -> None:
        """Begin a drag: all that follows is one step until `end_gesture`."""
        self._next_gesture()
        self._held = True

    def end_gesture(self) -> None:
        """End the drag: what follows is a step of its own."""
        self._held = False
        self._next_gesture()

    def _next_gesture(self) -> None:
        self._idle.stop()
        if not self._held:
            self._gesture += 1

    def _apply(self, project: Project) -> None:
        # frames are facts, not decisions: an undo step from before the survey must not forget the faults and shots found
        shots = self._split(project.shots)
        self.project = replace(
            project, sources=self.project.sources, frames=self.project.frames, curves=self.project.curves, shots=shots
        )
        self.project = balanced(self.project)
        self._refresh()

    def _split(self, shots: Sequence[Shot]) -> tuple[Shot, ...]:
        """Return the shots cut where surveys found that one starts, in and out points kept."""
        return tuple(part for shot in shots for part in self._parts(shot))

    def _parts(self, shot: Shot) -> tuple[Shot, ...]:
        starts = [start for start in sorted(self._starts) if shot.first < start <= shot.last]
        return split_shot(shot, starts, self._starts[starts[0]]) if starts else (shot,)

    def _refresh(self) -> None:
        self.used = surveying.used_frames(self.project)
        if self.survey is not None:
            self.film_light = surveying.level(self.survey, self.project)
        self.project_changed.emit()
        if self.film_light is not None:
            self.film_light_changed.emit()

    # -- moving about

    def move_to(self, frame: int) -> None:
        """Put the playhead on a frame, and with it the shot that is shown."""
        if not self.project.frames:
            return
        frame = min(max(frame, 0), len(self.project.frames) - 1)
        if frame == self.playhead:
            return
        self.playhead = frame
        shot_index = self._shot_of(frame)
        if shot_index != self.shot_index:
            self.shot_index = shot_index
            self.shot_changed.emit()
        self.playhead_changed.emit()

    def step(self, count: int) -> None:
        """Move by frames within the shot, through faulty ones too."""
        if self.shot is not None:
            self.move_to(min(max(self.playhead + count, self.shot.first), self.shot.last))

    def show_shot(self, index: int) -> None:
        """Go to the in point of a shot."""
        if 0 <= index < len(self.project.shots) and index != self.shot_index:
            self.move_to(self.project.shots[index].trim_in)

    def _shot_of(self, frame: int) -> int:
        return next((i for i, shot in enumerate(self.project.shots) if frame in shot.frames), 0)
