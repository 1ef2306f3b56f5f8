"""Saves the frame under the playhead as a picture, off the UI thread."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QObject
from PySide6.QtWidgets import QFileDialog, QWidget

from lapsebench.gui.jobs import Job, Jobs
from lapsebench.gui.problems import Message, MessageBar
from lapsebench.gui.session import Session
from lapsebench.gui.settings import Settings
from lapsebench.services.poster import save_picture


class StillSaver(QObject):
    """Asks for a name and writes the picture as it is in the film."""

    def __init__(
        self, session: Session, jobs: Jobs, settings: Settings, messages: MessageBar, parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self._session, self._jobs, self._settings, self._messages = session, jobs, settings, messages

    def ask(self) -> None:
        """Let the user name the picture, then write it."""
        frame, light = self._session.frame, self._session.film_light
        if frame is None or light is None:
            self._messages.show_message(Message(self.tr("Wait until the frames are measured.")))
            return
        parent = self.parent()
        start = self._settings.folder_for_films() / f"{frame.path.stem} film.png"
        text, _ = QFileDialog.getSaveFileName(
            parent if isinstance(parent, QWidget) else None,
            self.tr("Save this frame as a picture"),
            str(start),
            self.tr("Pictures (*.png *.tif *.jpg)"),
        )
        if text:
            self.save(Path(text))

    def save(self, output: Path) -> None:
        """Write the playhead's frame; the dialog has asked already whether to replace a picture that is there."""
        project, light, number = self._session.project, self._session.film_light, self._session.playhead
        responses = self._session.responses
        if light is None:
            return
        job = Job(
            self.tr("Saving {0}").format(output.name),
            lambda _job: save_picture(project, light, number, output, responses=responses, overwrite=True),
        )
        job.finished.connect(lambda path: self._messages.show_message(Message(self._done(path), kind="done")))
        job.failed.connect(self._messages.show_error)
        self._jobs.start(job)

    def _done(self, path: Path) -> str:
        return self.tr("Picture saved: {0}").format(path.name)
