"""Makes the film as a job and says what came of it."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QObject, QUrl, Signal
from PySide6.QtGui import QDesktopServices

from lapsebench.core.formatfacts import FilmKind
from lapsebench.core.formats import FilmFormat
from lapsebench.core.project import Project
from lapsebench.errors import DiskFullError, LapsebenchError, OutputError
from lapsebench.gui.jobs import Job, Jobs
from lapsebench.gui.problems import Describer, LastWord, Message, MessageBar
from lapsebench.gui.session import Session
from lapsebench.gui.words import Words
from lapsebench.io.sound import check_sound
from lapsebench.services import film as filming
from lapsebench.services.filmplan import film_plan


class Filming(QObject):
    """Starts films and reports on them in the message bar."""

    busy_changed = Signal(bool)
    done = Signal(object)

    def __init__(self, session: Session, jobs: Jobs, messages: MessageBar, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._session, self._jobs, self._words = session, jobs, Words(self)
        self._job: Job | None = None
        self.output: Path | None = None
        """What is being made now."""
        self._say = LastWord(messages).say
        self._describer = Describer(self)

    @property
    def busy(self) -> bool:
        """Whether a film is being made."""
        return self._job is not None

    def make(self, output: Path, overwrite: bool = False) -> None:
        """Make the film; a file that is already there is replaced only after the user said so.

        A folder that holds frames of this very film is gone on with.
        """
        light, project, responses = self._session.film_light, self._session.project, self._session.responses
        if light is None or self.busy:
            return
        self._say(None)
        try:
            filming.check_output(output, overwrite=True, project=project)
            film_plan(project, self._session.used).check()
        except LapsebenchError as error:
            self._say(self._describer.message(error, answered=not isinstance(error, DiskFullError)))
            return
        form = project.film.format
        if output.exists() and not overwrite and form.facts.kind is not FilmKind.FRAMES:
            self._ask_to_replace(output)
            return

        def work(job: Job) -> filming.FilmDone:
            if project.film.sound is not None:
                check_sound(project.film.sound)
            return filming.make_film(project, light, output, overwrite=overwrite, tick=job.tick, responses=responses)

        job = Job(self.tr("Making {0}").format(output.name), work)
        job.finished.connect(lambda done: self._done(done, form))
        job.failed.connect(lambda error: self._stopped_by(error, project, output, overwrite=overwrite))
        job.cancelled.connect(lambda: self._cancelled(_frames_in(output, form)))
        job.ended.connect(self._end)
        self._job, self.output = job, output.absolute()
        self.busy_changed.emit(True)
        self._jobs.start(job)

    def tell_done(self, done: filming.FilmDone, form: FilmFormat) -> None:
        """Say that a film of the line is done, as of one made at once."""
        self._done(done, form)

    def _ask_to_replace(self, output: Path) -> None:
        self._say(
            Message(
                self.tr("{0} is already there.").format(output.name),
                self.tr("Replace it, or type another name."),
                "caution",
                buttons=((self.tr("Replace it"), lambda: self.make(output, True)),),
                answered=True,
            )
        )

    def _done(self, done: filming.FilmDone, form: FilmFormat) -> None:
        parts = (
            done.path.name,
            self._words.frames(len(done.frames)),
            self._words.seconds(done.seconds),
            self._words.size(done.bytes),
        )
        what, found = self.tr("Film done: {0}").format(", ".join(parts)), self._words.found(done, form)
        play = (self.tr("Play it"), lambda: _open(done.path))
        show = (self.tr("Show in folder"), lambda: _open(done.path.parent))
        frames = (self.tr("Open the folder"), lambda: _open(done.path))
        buttons = (frames,) if form.facts.kind is FilmKind.FRAMES else (play, show)
        self._say(Message(what, found, "done", buttons=buttons))
        self.done.emit(done)

    def _stopped_by(self, error: BaseException, project: Project, output: Path, *, overwrite: bool) -> None:
        """Say what went wrong; frames of another film in the folder may be replaced."""
        can_replace = isinstance(error, OutputError) and not isinstance(error, DiskFullError) and not overwrite
        if can_replace and _frames_in(output, project.film.format):
            self._ask_to_replace_frames(output)
        else:
            self._failed(error)

    def _ask_to_replace_frames(self, output: Path) -> None:
        self._say(
            Message(
                self.tr("{0} holds frames of another film.").format(output.name),
                self.tr("Replace them, or type another name."),
                "caution",
                buttons=((self.tr("Replace them"), lambda: self.make(output, True)),),
                answered=True,
            )
        )

    def _failed(self, error: BaseException) -> None:
        self._say(self._describer.message(error))

    def _cancelled(self, kept: int) -> None:
        if kept:
            words = self.tr("The film was cancelled. {0} are kept; made again, it goes on with them.")
            self._say(Message(words.format(self._words.frames(kept))))
        else:
            self._say(Message(self.tr("The film was cancelled; nothing was left behind.")))

    def _end(self, _job: Job) -> None:
        self._job = self.output = None
        self.busy_changed.emit(False)


def _open(path: Path) -> None:
    QDesktopServices.openUrl(QUrl.fromLocalFile(str(path)))


def _frames_in(folder: Path, form: FilmFormat) -> int:
    """Return how many frames of a format there are in a folder."""
    suffix = form.facts.frame_suffix
    return sum(file.suffix == suffix for file in folder.iterdir()) if suffix and folder.is_dir() else 0
