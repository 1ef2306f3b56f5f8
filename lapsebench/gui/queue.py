"""The line of films in the window: puts films in, makes them one after another as jobs, and says what came of it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import QObject, Signal

from lapsebench.core.formatfacts import FilmKind
from lapsebench.errors import DiskFullError, LapsebenchError, OutputError
from lapsebench.gui.filming import Filming
from lapsebench.gui.jobs import Job, Jobs
from lapsebench.gui.problems import Describer, Kind, LastWord, Message, MessageBar
from lapsebench.gui.session import Session
from lapsebench.io import queuefile
from lapsebench.io.queuefile import Entry
from lapsebench.services import filmqueue
from lapsebench.services.film import FilmDone, check_output


class FilmLine(QObject):
    """Holds the waiting films; nothing of it starts but on request."""

    changed = Signal()
    progressed = Signal()
    busy_changed = Signal(bool)
    show_wanted = Signal()

    def __init__(
        self, session: Session, jobs: Jobs, filming: Filming, messages: MessageBar, parent: QObject | None = None
    ) -> None:
        super().__init__(parent)
        self._session, self._jobs, self._filming, self._messages = session, jobs, filming, messages
        self._describer = Describer(self)
        self._say = LastWord(messages).say
        self._job: Job | None = None
        self._going = False
        self._tried, self._made, self._missed = set[str](), list[str](), list[str]()
        self._told: tuple[str, ...] = ()
        self.entries: tuple[Entry, ...] = ()
        self.working: str | None = None
        self.progress = (0, 0)
        self._claimed = set[str]()
        filming.busy_changed.connect(self._go_on)

    # -- what is here

    @property
    def busy(self) -> bool:
        """Whether a film of the line is being made."""
        return self._job is not None

    @property
    def going(self) -> bool:
        """Whether the next film of the line is made after the one in work."""
        return self._going

    @property
    def waiting(self) -> int:
        """How many films wait that nobody makes."""
        return sum(not entry.failed and not self.elsewhere(entry) for entry in self.entries if entry.key != self.working)

    def elsewhere(self, entry: Entry) -> bool:
        """Whether another window is making a film of the line, as far as was last looked."""
        return entry.key in self._claimed

    def refresh(self) -> None:
        """Look again at what waits: other windows have the same line."""
        self.entries, words = queuefile.entries()
        others = (entry for entry in self.entries if entry.key != self.working)
        self._claimed = {entry.key for entry in others if queuefile.is_being_made(entry)}
        for text in (text for text in words if text not in self._told):
            self._messages.show_message(Message(text, kind="caution"))
        self._told = words
        self.changed.emit()

    def tell_waiting(self) -> None:
        """Say at the start whether films wait, and whether some could not be made before the program was closed."""
        self.refresh()
        waiting, failed = self.waiting, sum(entry.failed for entry in self.entries)
        waits = self.tr("1 film is waiting.") if waiting == 1 else self.tr("{0} films are waiting.").format(waiting)
        missed = self.tr("1 film in line could not be made.")
        if failed != 1:
            missed = self.tr("{0} films in line could not be made.").format(failed)
        why = self.tr("The line says why.")
        if waiting:
            self._say(Message(waits, f"{missed} {why}" if failed else "", buttons=self._buttons()))
        elif failed:
            self._say(Message(missed, why, "caution", buttons=(self._showing(),)))

    # -- putting films in

    def film_wanted(self, output: Path, overwrite: bool = False) -> None:
        """Make the film at once, or put it in line while the line is at work."""
        if self.busy:
            self.add(output, overwrite)
        elif any(entry.output == output.absolute() for entry in queuefile.entries()[0]):
            what = self.tr("{0} is in the line of films already.").format(output.name)
            remedy = self.tr("Choose another name, or take that one out.")
            self._say(Message(what, remedy, "caution", buttons=self._buttons(), answered=True))
        else:
            self._filming.make(output, overwrite)

    def add(self, output: Path, overwrite: bool = False) -> None:
        """Put the film in line as it is set now; a file that is already there is replaced only after the user said so."""
        project = self._session.project
        try:
            path = check_output(output, overwrite=True, project=project)
            if self._filming.output == path:
                raise OutputError(f"{path.name} is being made now.", "Choose another name.")
            if path.exists() and not overwrite and project.film.format.facts.kind is not FilmKind.FRAMES:
                self._ask_to_replace(path)
                return
            entry = filmqueue.add(project, path, overwrite=overwrite)
        except LapsebenchError as error:
            self._say(self._describer.message(error, answered=not isinstance(error, DiskFullError)))
            return
        self.refresh()
        what = self.tr("{0} waits in line as it is set now.").format(entry.title)
        if self._going:
            self._say(Message(what, self.tr("Films are being made; it comes after those before it.")))
        elif self.busy or self._filming.busy:
            self._say(Message(what, self.tr("Another film is being made."), buttons=self._buttons()))
        else:
            self._say(Message(what, buttons=self._buttons()))

    def _ask_to_replace(self, output: Path) -> None:
        replace = (self.tr("Replace it then"), lambda: self.add(output, True))
        what = self.tr("{0} is already there.").format(output.name)
        remedy = self.tr("Replace it when its turn comes, or type another name.")
        self._say(Message(what, remedy, "caution", buttons=(replace,), answered=True))

    # -- changing the line

    def remove(self, key: str) -> None:
        """Take a film out of the line, unless it is being made."""
        if key != self.working:
            queuefile.remove(key)
            self.refresh()

    def move(self, key: str, by: int) -> None:
        """Move a film on by `by` places, back where negative."""
        self._change(lambda: queuefile.move(key, by))

    def again(self, entry: Entry, *, overwrite: bool = False) -> None:
        """Let a film that could not be made wait again, with `overwrite` to replace what is there."""
        self._tried.discard(entry.key)
        self._change(lambda: filmqueue.again(entry, overwrite=overwrite))
        self._go_on()

    # -- making films

    def start(self) -> None:
        """Make all films that wait, one after another."""
        if not self._going:
            self._going = True
            self._tried, self._made, self._missed = set(), [], []
            after = self.tr("The films in line are made after the one in work.")
            self._say(Message(after) if self._filming.busy else None)
            self._go_on()
            self.changed.emit()

    def pause(self) -> None:
        """Make no film after the one in work."""
        self._going = False
        self.changed.emit()

    def _go_on(self) -> None:
        """Begin with the next film where there is one and nothing else is filmed."""
        if not self._going or self.busy or self._filming.busy:
            return
        entry = filmqueue.next_waiting(self._tried)
        if entry is None:
            self._finish()
            return
        self._tried.add(entry.key)
        filming = self.tr("Making {0}").format(entry.title)

        def work(job: Job) -> FilmDone | None:
            return filmqueue.make(entry, job.tick, filming=lambda: job.stage(filming))

        job = Job(self.tr("Reading the frames of {0}").format(entry.title), work)
        job.progress.connect(self._progressed)
        job.finished.connect(lambda done: self._done(entry, done))
        job.failed.connect(lambda error: self._failed(entry, error))
        job.cancelled.connect(lambda: self._cancelled(entry))
        job.ended.connect(self._end)
        self._job, self.working, self.progress = job, entry.key, (0, 0)
        self.busy_changed.emit(True)
        self._jobs.start(job)
        self.refresh()

    def _progressed(self, done: int, total: int) -> None:
        self.progress = done, total
        self.progressed.emit()

    def _done(self, entry: Entry, done: FilmDone | None) -> None:
        if done is not None:
            self._made.append(entry.title)
            self._filming.tell_done(done, entry.form)

    def _failed(self, entry: Entry, error: BaseException) -> None:
        self._missed.append(entry.title)
        what, why = self.tr("{0} could not be made.").format(entry.title), self._describer.message(error)
        told = f"{why.what} {why.remedy}".strip()
        self._say(Message(what, told, "problem", why.details, buttons=(self._showing(),)))

    def _cancelled(self, entry: Entry) -> None:
        self._going = False
        what = self.tr("{0} was cancelled; it still waits in line.").format(entry.title)
        self._say(Message(what, buttons=self._buttons()))

    def _end(self, _job: Job) -> None:
        self._job, self.working = None, None
        self.refresh()
        self._go_on()
        if not self.busy:
            self.busy_changed.emit(False)
            self.changed.emit()

    def _finish(self) -> None:
        """Say how it went once nothing waits any more, where that was more than one film."""
        self._going = False
        if len(self._made) + len(self._missed) > 1:
            made = self.tr("Made: {0}.").format(", ".join(self._made)) if self._made else ""
            missed = self.tr("Could not be made: {0}.").format(", ".join(self._missed)) if self._missed else ""
            buttons = (self._showing(),) if self._missed else ()
            told = " ".join(part for part in (made, missed) if part)
            kind: Kind = "caution" if self._missed else "done"
            self._say(Message(self.tr("No more film is waiting."), told, kind, buttons=buttons))
        self.changed.emit()

    # -- saying

    def _buttons(self) -> tuple[tuple[str, Callable[[], object]], ...]:
        start = self.tr("Start it") if self.waiting == 1 else self.tr("Start them")
        return ((start, self.start), self._showing())

    def _showing(self) -> tuple[str, Callable[[], object]]:
        return self.tr("Show the line"), self.show_wanted.emit

    def _change(self, change: Callable[[], object]) -> None:
        try:
            change()
        except LapsebenchError as error:
            self._say(self._describer.message(error))
        self.refresh()
