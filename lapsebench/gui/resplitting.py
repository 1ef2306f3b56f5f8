"""Works the light out again, off the UI thread, when a shot is to be measured by another area; nothing is measured again."""

from __future__ import annotations

from PySide6.QtCore import QObject, QTimer, Signal

from lapsebench.gui.jobs import Job, Jobs
from lapsebench.gui.session import Session
from lapsebench.services import survey as surveying

_SETTLE_MS = 150  # a change that another one follows sooner is not worked on


class Resplitter(QObject):
    """Keeps the light on the metering areas of the project, through undo and redo too; the newest areas count."""

    failed = Signal(object)
    stopped = Signal()
    busy_changed = Signal(bool)

    def __init__(self, session: Session, jobs: Jobs, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._session, self._jobs = session, jobs
        self._job: Job | None = None
        self._areas: tuple[object, ...] = ()
        self._base: surveying.Survey | None = None
        self._given_up: tuple[object, ...] | None = None
        self._settle = QTimer(self, singleShot=True, interval=_SETTLE_MS)
        self._settle.timeout.connect(self._start)
        session.project_changed.connect(self._look)
        session.surveyed.connect(self._look)

    @property
    def busy(self) -> bool:
        """Whether the light is being worked out again, or is about to be."""
        return self._job is not None or self._settle.isActive()

    def again(self) -> None:
        """Go on after the work was stopped."""
        self._given_up = None
        self._look()

    def _look(self) -> None:
        """Start where the light is not that of the areas; stop what is under way where it is."""
        survey = self._session.survey
        if survey is None or not surveying.needs_resplit(survey, self._session.project):
            self._given_up = None
            self._settle.stop()
            self._drop()
        elif self._given_up != self._areas_now() and not self._under_way():
            self._settle.start()
        self.busy_changed.emit(self.busy)

    def _under_way(self) -> bool:
        """Whether the work under way is on the areas and the survey as they are now."""
        current = self._areas == self._areas_now() and self._base is self._session.survey
        return self._job is not None and not self._settle.isActive() and current

    def _areas_now(self) -> tuple[object, ...]:
        project = self._session.project
        return (project.use_curve, *((shot.first, shot.last, shot.area) for shot in project.shots))

    def _start(self) -> None:
        survey, project = self._session.survey, self._session.project
        if survey is None:
            return
        if self._session.dragging:
            self._settle.start()
            return
        self._drop()
        self._areas, self._base = self._areas_now(), survey
        job = Job(self.tr("Working out the light"), lambda job: surveying.resplit(survey, project, tick=job.tick))
        job.finished.connect(lambda result: self._finished(job, survey, result))
        job.failed.connect(self._fail)
        job.cancelled.connect(self._cancelled)
        job.ended.connect(self._end)
        self._job = job
        self._jobs.start(job)
        self.busy_changed.emit(True)

    def _drop(self) -> None:
        """Stop what is under way without a word: nobody waits for it."""
        job, self._job = self._job, None
        if job is not None:
            job.failed.disconnect(self._fail)
            job.cancelled.disconnect(self._cancelled)
            job.ended.disconnect(self._end)
            job.cancel()

    def _finished(self, job: Job, survey: surveying.Survey, result: surveying.Survey) -> None:
        if job is self._job and self._session.survey is survey:
            self._job = None
            self._session.finish_survey(result)

    def _fail(self, error: BaseException) -> None:
        self._given_up = self._areas
        self.failed.emit(error)

    def _cancelled(self) -> None:
        self._given_up = self._areas
        self.stopped.emit()

    def _end(self, job: Job) -> None:
        if job is self._job:
            self._job = None
        self.busy_changed.emit(self.busy)
