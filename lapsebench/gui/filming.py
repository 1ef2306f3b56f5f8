"""Makes the film as a job and says what came of it."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QObject, QUrl, Signal
from PySide6.QtGui import QDesktopServices

from lapsebench.gui.jobs import Job, Jobs
from lapsebench.gui.problems import Describer, Message, MessageBar
from lapsebench.gui.session import Session
from lapsebench.gui.words import Words
from lapsebench.services import film as filming


class Filming(QObject):
    """Starts films and reports on them in the message bar."""

    busy_changed = Signal(bool)

    def __init__(self, session: Session, jobs: Jobs, messages: MessageBar, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._session, self._jobs, self._messages, self._words = session, jobs, messages, Words(self)
        self._job: Job | None = None
        self._said: Message | None = None
        self._describer = Describer(self)

    @property
    def busy(self) -> bool:
        """Whether a film is being made."""
        return self._job is not None

    def make(self, output: Path, overwrite: bool = False) -> None:
        """Make the film; a file that is already there is replaced only after the user said so."""
        light, project, responses = self._session.film_light, self._session.project, self._session.responses
        if light is None or self.busy:
            return
        if output.exists() and not overwrite:
            self._ask_to_replace(output)
            return

        self._say(None)

        def work(job: Job) -> object:
            return filming.make_film(project, light, output, overwrite=overwrite, tick=job.tick, responses=responses)

        job = Job(self.tr("Making {0}").format(output.name), work)
        job.finished.connect(self._done)
        job.failed.connect(self._failed)
        job.cancelled.connect(self._cancelled)
        job.ended.connect(self._end)
        self._job = job
        self.busy_changed.emit(True)
        self._jobs.start(job)

    def _ask_to_replace(self, output: Path) -> None:
        self._say(
            Message(
                self.tr("{0} is already there.").format(output.name),
                self.tr("Replace it, or type another name."),
                "caution",
                buttons=((self.tr("Replace it"), lambda: self.make(output, True)),),
            )
        )

    def _done(self, done: filming.FilmDone) -> None:
        parts = (
            done.path.name,
            self._words.frames(len(done.frames)),
            self._words.seconds(done.seconds),
            self._words.size(done.bytes),
        )
        buttons = (
            (self.tr("Play it"), lambda: _open(done.path)),
            (self.tr("Show in folder"), lambda: _open(done.path.parent)),
        )
        what = self.tr("Film done: {0}").format(", ".join(parts))
        self._say(Message(what, kind="done", buttons=buttons))

    def _failed(self, error: BaseException) -> None:
        self._say(self._describer.message(error))

    def _say(self, message: Message | None) -> None:
        """Show a message in place of the one about the film before."""
        if self._said is not None:
            self._messages.withdraw(self._said)
        self._said = message
        if message is not None:
            self._messages.show_message(message)

    def _cancelled(self) -> None:
        self._say(Message(self.tr("The film was cancelled; nothing was left behind.")))

    def _end(self, _job: Job) -> None:
        self._job = None
        self.busy_changed.emit(False)


def _open(path: Path) -> None:
    QDesktopServices.openUrl(QUrl.fromLocalFile(str(path)))
