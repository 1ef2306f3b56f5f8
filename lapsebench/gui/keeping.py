"""Keeps the project in a file: saved on request, and from then on by itself a moment after every edit.

Saving 5,000 frames takes some tenths of a second, so that it goes on beside the window, but for where edits would be lost.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import QObject, QTimer, Signal
from PySide6.QtWidgets import QFileDialog, QWidget

from lapsebench.core.project import Project
from lapsebench.errors import LapsebenchError
from lapsebench.gui.jobs import Job, Jobs
from lapsebench.gui.session import Session
from lapsebench.gui.settings import Settings
from lapsebench.io.projectfile import SUFFIX, save_project

_AUTOSAVE_MS = 1500


class Writer:
    """Writes states of projects, from any thread, one at a time and never an older state over a newer one."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._written: dict[Path, int] = {}

    def write(self, project: Project, path: Path, turn: int) -> None:
        """Write what a project was at a turn unless a later turn is in the file already. Raises as `save_project`."""
        with self._lock:
            if turn > self._written.get(path, 0):
                save_project(project, path)
                self._written[path] = turn


class Keeper(QObject):
    """Knows the project's file, None until it has one."""

    failed = Signal(object)
    saved = Signal()

    def __init__(self, session: Session, settings: Settings, jobs: Jobs, window: QWidget) -> None:
        super().__init__(window)
        self._session, self._settings, self._jobs, self._window = session, settings, jobs, window
        self.path: Path | None = None
        self._writer, self._turn, self._night, self._running = Writer(), 0, 0, 0
        self._soon = QTimer(self, singleShot=True, interval=_AUTOSAVE_MS)
        self._soon.timeout.connect(self._save_edits)
        session.opened.connect(self._forget)  # before anything of the new night could be saved
        session.project_changed.connect(self._changed)

    @property
    def unsaved(self) -> bool:
        """Whether there are edits that no file holds."""
        return not self._session.undo_stack.isClean()

    @property
    def saving(self) -> bool:
        """Whether a file is still being written."""
        return self._running > 0

    def opened(self, paths: list[Path]) -> None:
        """Take note of what was opened: a project file is saved to from now on."""
        self.path = paths[0] if len(paths) == 1 and paths[0].suffix == SUFFIX else None

    def ask_file(self) -> Path | None:
        """Let the user choose a project file to open."""
        start, kinds = str(self._settings.folder_to_open()), self.tr("Projects (*{0})").format(SUFFIX)
        text, _ = QFileDialog.getOpenFileName(self._window, self.tr("Open a project"), start, kinds)
        return Path(text) if text else None

    def save(self) -> None:
        """Save to the project's file, or ask for one."""
        if self.path is None:
            self.save_as()
        else:
            self._start(self.path, before=self.path)

    def save_as(self, then: Callable[[], object] | None = None) -> None:
        """Ask for a file and save to it, from now on too; `then` is called once it is saved."""
        sources = self._session.project.sources
        start = self.path or (sources[0].parent / f"{sources[0].name}{SUFFIX}" if sources else Path.home())
        text, _ = QFileDialog.getSaveFileName(
            self._window, self.tr("Save the project"), str(start), self.tr("Projects (*{0})").format(SUFFIX)
        )
        if text:
            path, before = Path(text), self.path
            self.path = path if path.suffix == SUFFIX else path.with_name(path.name + SUFFIX)
            self._start(self.path, then, before=before)

    def save_now(self) -> bool:
        """Save to the project's file before anything else is done, and return whether it was saved.

        An error is shown and the older file stays as it was.
        """
        self._soon.stop()
        if self.path is None:
            return False
        try:
            self._writer.write(self._session.project, self.path, self._next_turn())
        except LapsebenchError as error:
            self.failed.emit(error)
            return False
        self._session.undo_stack.setClean()
        self._settings.remember(self.path)
        self.saved.emit()
        return True

    def _start(self, path: Path, then: Callable[[], object] | None = None, *, before: Path | None = None) -> None:
        """Save to a file as a job; after an error, which is shown, `before` is the project's file again."""
        self._soon.stop()
        project, night, turn = self._session.project, self._night, self._next_turn()
        job = Job(self.tr("Saving {0}").format(path.name), lambda _job: self._writer.write(project, path, turn))
        job.finished.connect(lambda _: self._written(project, path, night, then))
        job.failed.connect(lambda error: self._not_written(error, path, before, night))
        job.ended.connect(self._end)
        self._running += 1
        self._jobs.start(job, quiet=True)

    def _written(self, project: Project, path: Path, night: int, then: Callable[[], object] | None) -> None:
        self._settings.remember(path)
        if night != self._night:
            return  # another one was opened meanwhile
        if self._session.project is project and path == self.path:
            self._session.undo_stack.setClean()
        else:
            self._soon.start()
        self.saved.emit()
        if then is not None:
            then()

    def _not_written(self, error: BaseException, path: Path, before: Path | None, night: int) -> None:
        if night == self._night and self.path == path:
            self.path = before
        self.failed.emit(error)

    def _end(self, _job: Job) -> None:
        self._running -= 1

    def _next_turn(self) -> int:
        self._turn += 1
        return self._turn

    def _forget(self) -> None:
        """Let go of the file of the night before."""
        self._night += 1
        self._soon.stop()
        self.path = None

    def _save_edits(self) -> None:
        if self.unsaved and self.saving:
            self._soon.start()  # a slow drive is asked for one thing at a time
        elif self.unsaved and self.path is not None:
            self._start(self.path, before=self.path)

    def _changed(self) -> None:
        if self.path is not None:
            self._soon.start()
