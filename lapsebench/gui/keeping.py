"""Keeps the project in a file: saved on request, and from then on by itself a moment after every edit."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QObject, QTimer, Signal
from PySide6.QtWidgets import QFileDialog, QWidget

from lapsebench.errors import LapsebenchError
from lapsebench.gui.session import Session
from lapsebench.gui.settings import Settings
from lapsebench.io.projectfile import SUFFIX, save_project

_AUTOSAVE_MS = 1500


class Keeper(QObject):
    """Knows the project's file, None until it has one."""

    failed = Signal(object)
    saved = Signal()

    def __init__(self, session: Session, settings: Settings, window: QWidget) -> None:
        super().__init__(window)
        self._session, self._settings, self._window = session, settings, window
        self.path: Path | None = None
        self._soon = QTimer(self, singleShot=True, interval=_AUTOSAVE_MS)
        self._soon.timeout.connect(self._save_edits)
        session.opened.connect(self._forget)  # before anything of the new night could be saved
        session.project_changed.connect(self._changed)

    @property
    def unsaved(self) -> bool:
        """Whether there are edits that no file holds."""
        return not self._session.undo_stack.isClean()

    def opened(self, paths: list[Path]) -> None:
        """Take note of what was opened: a project file is saved to from now on."""
        self.path = paths[0] if len(paths) == 1 and paths[0].suffix == SUFFIX else None

    def ask_file(self) -> Path | None:
        """Let the user choose a project file to open."""
        start, kinds = str(self._settings.folder_to_open()), self.tr("Projects (*{0})").format(SUFFIX)
        text, _ = QFileDialog.getOpenFileName(self._window, self.tr("Open a project"), start, kinds)
        return Path(text) if text else None

    def save(self) -> bool:
        """Save to the project's file, or ask for one; return whether it was saved."""
        return self.save_now() if self.path is not None else self.save_as()

    def save_as(self) -> bool:
        """Ask for a file and save to it; return whether it was saved."""
        sources = self._session.project.sources
        start = self.path or (sources[0].parent / f"{sources[0].name}{SUFFIX}" if sources else Path.home())
        text, _ = QFileDialog.getSaveFileName(
            self._window, self.tr("Save the project"), str(start), self.tr("Projects (*{0})").format(SUFFIX)
        )
        if not text:
            return False
        path, before = Path(text), self.path
        self.path = path if path.suffix == SUFFIX else path.with_name(path.name + SUFFIX)
        if self.save_now():
            return True
        self.path = before
        return False

    def save_now(self) -> bool:
        """Save to the project's file; an error is shown and the older file stays as it was."""
        self._soon.stop()
        if self.path is None:
            return False
        try:
            save_project(self._session.project, self.path)
        except LapsebenchError as error:
            self.failed.emit(error)
            return False
        self._session.undo_stack.setClean()
        self._settings.remember(self.path)
        self.saved.emit()
        return True

    def _forget(self) -> None:
        """Let go of the file of the night before."""
        self._soon.stop()
        self.path = None

    def _save_edits(self) -> None:
        if self.unsaved:
            self.save_now()

    def _changed(self) -> None:
        if self.path is not None:
            self._soon.start()
