"""Opens frames: gathers them, then surveys them, both off the UI thread; what was open stays until the new is found."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

from PySide6.QtCore import QObject, Signal

from lapsebench.core.metering import FrameMeasure
from lapsebench.core.project import Project
from lapsebench.gui.jobs import Job, Jobs
from lapsebench.gui.session import Session
from lapsebench.gui.settings import Settings, common_source
from lapsebench.services import survey as surveying

Gathered = tuple[Project, tuple[str, ...]]
Admit = Callable[[Callable[[], None]], None]
"""Calls what it is given when the open night may be let go, at once or later or never."""


class Opener(QObject):
    """Brings frames into the session; a newer opening replaces an older one, and only results of the newest count."""

    failed = Signal(object)
    stopped = Signal()
    opened = Signal()

    def __init__(
        self, session: Session, jobs: Jobs, settings: Settings, *, admit: Admit, parent: QObject | None = None
    ) -> None:
        super().__init__(parent)
        self._session, self._jobs, self._settings, self._admit = session, jobs, settings, admit
        self._gathering: Job | None = None
        self._surveying: Job | None = None
        self._gather_turn = self._survey_turn = 0
        self.paths: list[Path] = []
        """What was opened last."""

    @property
    def busy(self) -> bool:
        """Whether frames are being gathered or surveyed."""
        return self._gathering is not None or self._surveying is not None

    def open(self, paths: Sequence[Path], *, remember: bool = True) -> None:
        """Gather the frames in folders or files, then survey them; what is set for the open night is not lost by it."""
        wanted = [path.absolute() for path in paths]
        self._admit(lambda: self._gather(wanted, remember=remember))

    def _gather(self, wanted: list[Path], *, remember: bool) -> None:
        job = Job(self.tr("Looking for frames"), lambda job: surveying.gather(wanted, tick=job.tick))
        self._gather_turn = turn = self._gather_turn + 1
        self._begin(job, self._gathering)
        self._gathering = job
        take = partial(self._take, turn, wanted, remember=remember)
        job.finished.connect(lambda found: self._admit(lambda: take(found)))  # it may have been edited meanwhile

    def survey(self) -> None:
        """Survey the open project, once more if it was already."""
        project = self._session.project
        if not project.frames:
            return

        def work(job: Job) -> object:
            return surveying.survey(project, tick=job.tick, measured=lambda i, measure: job.send((i, measure)))

        job = Job(self.tr("Measuring the frames"), work)
        self._survey_turn = turn = self._survey_turn + 1
        self._begin(job, self._surveying)
        self._surveying = job
        job.part.connect(lambda part: self._measured(turn, part))
        job.finished.connect(lambda survey: self._finished(turn, survey))

    def _begin(self, job: Job, older: Job | None) -> None:
        """Start a job in place of an older one of its kind, which is stopped and not heard any more."""
        if older is not None:
            older.cancel()
            older.failed.disconnect(self.failed)
            older.cancelled.disconnect(self.stopped)
        job.failed.connect(self.failed)
        job.cancelled.connect(self.stopped)
        job.ended.connect(self._end)
        self._jobs.start(job)

    def _take(self, turn: int, paths: list[Path], found: Gathered, *, remember: bool) -> None:
        if turn != self._gather_turn:
            return
        self.paths = paths
        source = common_source(paths) if remember else None
        if source is not None:
            self._settings.remember(source)
        self._session.open(*found)
        self.opened.emit()
        self.survey()

    def _measured(self, turn: int, part: tuple[int, FrameMeasure]) -> None:
        if turn == self._survey_turn:
            self._session.add_measure(*part)

    def _finished(self, turn: int, survey: surveying.Survey) -> None:
        if turn == self._survey_turn:
            self._session.finish_survey(survey)

    def _end(self, job: Job) -> None:
        if job is self._gathering:
            self._gathering = None
        elif job is self._surveying:
            self._surveying = None
