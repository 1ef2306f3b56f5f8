"""The foot of the right panel: where the film goes, and the button that makes it."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QFileDialog, QGridLayout, QLabel, QLineEdit, QWidget

from lapsebench.core.formatfacts import FilmKind
from lapsebench.core.formats import FORMATS, FilmFormat
from lapsebench.gui.parts import label_for, push_button, soft_label
from lapsebench.gui.session import Session
from lapsebench.gui.settings import Settings

_SUFFIXES = {suffix for facts in FORMATS.values() for suffix in facts.suffixes}


class FilmFoot(QWidget):
    """Always in sight: the film's file, a word of care, and "Make the film". `renamed`: the user named another file."""

    wanted = Signal(object, bool)
    line_wanted = Signal(object, bool)
    renamed = Signal()

    def __init__(self, session: Session, settings: Settings, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("panelBody")
        self._session, self._settings = session, settings
        self._folder = settings.folder_for_films()
        self._confirmed: Path | None = None
        self._busy = self._waiting = False
        self._form = session.project.film.format
        self.name = QLineEdit(self)
        self.name.setAcceptDrops(False)
        self.name.setAccessibleName(self.tr("File name of the film"))
        self.label = label_for("", self.name, self)
        self.choose = push_button(self.tr("Choose…"), self, spoken=self.tr("Choose the film's file"))
        self.where = soft_label(self)
        self.where.setWordWrap(False)
        care = QLabel(
            self.tr("Fast changes of brightness can trouble people with photosensitive epilepsy. Watch with care."),
            self,
            wordWrap=True,
        )
        care.setProperty("caution", True)
        self.make = push_button(self.tr("&Make the film"), self)
        self.make.setProperty("primary", True)
        self.line = push_button(self.tr("Wait in line"), self, spoken=self.tr("Let the film wait in line, as it is set now"))
        layout = QGridLayout(self)
        layout.setContentsMargins(10, 8, 10, 10)
        layout.setColumnStretch(1, 1)
        layout.addWidget(self.label, 0, 0)
        layout.addWidget(self.name, 0, 1)
        layout.addWidget(self.choose, 0, 2)
        layout.addWidget(self.where, 1, 0, 1, 3)
        layout.addWidget(care, 2, 0, 1, 3)
        layout.addWidget(self.make, 3, 0, 1, 2)
        layout.addWidget(self.line, 3, 2)
        self.choose.clicked.connect(self.ask_file)
        self.make.clicked.connect(self.ask_film)
        self.line.clicked.connect(self.ask_line)
        self.name.textEdited.connect(self._tell_where)
        self.name.textEdited.connect(self.renamed)
        session.opened.connect(self._name_after_source)
        session.project_changed.connect(self._follow_format)
        for signal in (session.opened, session.surveyed, session.project_changed):
            signal.connect(self.refresh)
        self._name_label()
        self._tell_where()
        self.refresh()

    @property
    def path(self) -> Path:
        """Where the film shall go: what was typed, within the chosen folder unless it names another."""
        path = self._folder / (Path(self.name.text().strip()).expanduser() if self._is_named else self.tr("night"))
        return path if _has_suffix(path.name) else path.with_name(named(path.name, self._form))

    @property
    def _is_named(self) -> bool:
        """Whether what was typed names a file: neither a folder nor a suffix alone."""
        typed = self.name.text().strip()
        name = Path(typed).name
        return bool(name) and name != ".." and not typed.endswith(("/", "\\")) and name.lower() not in _SUFFIXES

    def set_busy(self, busy: bool) -> None:
        """While a film is made no second one can be started."""
        self._busy = busy
        self.refresh()

    def set_waiting(self, waiting: bool) -> None:
        """While the light is worked out again no film can be started: it would have the light of before."""
        if waiting != self._waiting:
            self._waiting = waiting
            self.refresh()

    def set_path(self, path: Path, *, confirmed: bool) -> None:
        """Take a file; `confirmed` when the user has already agreed to replace it."""
        self._folder, self._confirmed = path.parent, path if confirmed else None
        self.name.setText(path.name)
        self._settings.put("film/folder", str(path.parent))
        self._tell_where()
        self.renamed.emit()

    def ask_file(self) -> None:
        """Let the user choose the file in the standard dialog, which asks before a file is replaced.

        For frames the folder is chosen that theirs goes into.
        """
        if self._form.facts.kind is FilmKind.FRAMES:
            text = QFileDialog.getExistingDirectory(self, self.tr("Put the folder of frames in"), str(self.path.parent))
            if text:
                self.set_path(Path(text) / self.path.name, confirmed=False)
            return
        kinds = self.tr("Films ({0})").format(" ".join(f"*{suffix}" for suffix in self._form.facts.suffixes))
        text, _ = QFileDialog.getSaveFileName(self, self.tr("Save the film as"), str(self.path), kinds)
        if text:
            self.set_path(Path(text), confirmed=True)

    def ask_film(self) -> None:
        """Ask for the film, if there is all it takes."""
        if self.make.isEnabled():
            self.wanted.emit(self.path, self._confirmed == self.path)

    def ask_line(self) -> None:
        """Ask for the film to wait in line, if there is all it takes."""
        if self.line.isEnabled():
            self.line_wanted.emit(self.path, self._confirmed == self.path)

    def refresh(self) -> None:
        """Enable the buttons when there is a film to make, and say why not otherwise."""
        ready = self._session.film_light is not None and bool(self._session.used) and not self._waiting
        ready = ready and self._is_named
        self.make.setEnabled(ready and not self._busy)
        self.line.setEnabled(ready)
        why = ""
        if self._busy:
            why = self.tr("A film is being made.")
        elif self._session.film_light is None:
            why = self.tr("The frames have to be measured first.")
        elif not self._session.used:
            why = self.tr("No frame is in the film.")
        elif self._waiting:
            why = self.tr("The light is being worked out.")
        elif not self._is_named:
            why = self.tr("Type a name for the film.")
        self.make.setToolTip(why)
        later = self.tr("Put the film in line as it is set now; what you change later is not in it.")
        self.line.setToolTip(later if ready else why)

    def _name_after_source(self) -> None:
        sources = self._session.project.sources
        source = sources[0] if sources else Path(self.tr("night"))
        stem = source.name if source.is_dir() or not source.suffix else source.parent.name
        self._confirmed = None
        self._form = self._session.project.film.format
        self.name.setText(self._named(stem or self.tr("night")))
        self._name_label()
        self._tell_where()

    def _follow_format(self) -> None:
        """Change the name's suffix when the format changes; what was typed before it stays."""
        old, new = self._form, self._session.project.film.format
        if new is old:
            return
        self._form = new
        typed = self.name.text().strip()
        suffix = Path(typed).suffix.lower()
        usual = old.facts.suffixes[:1] == (suffix,)
        if typed and (usual or suffix not in new.facts.suffixes) and not (_has_suffix(typed) and suffix not in _SUFFIXES):
            self.name.setText(self._named(typed))
        self._name_label()
        self._tell_where()

    def _named(self, name: str) -> str:
        """Return a name as the format has it; frames don't go into the folder of the sources."""
        name = named(name, self._form)
        return self.tr("{0} frames").format(name) if self._folder / name in self._session.project.sources else name

    def _name_label(self) -> None:
        frames = self._form.facts.kind is FilmKind.FRAMES
        self.label.setText(self.tr("Frames &in") if frames else self.tr("Film f&ile"))
        self.name.setAccessibleName(self.tr("Folder of the frames") if frames else self.tr("File name of the film"))
        choose = self.tr("Choose where the folder of frames goes") if frames else self.tr("Choose the film's file")
        self.choose.setAccessibleName(choose)

    def _tell_where(self) -> None:
        folder = str(self.path.parent)
        room = max(self.width() - 40, 240)
        text = self.tr("in {0}").format(folder)
        self.where.setText(self.where.fontMetrics().elidedText(text, Qt.TextElideMode.ElideMiddle, room))
        self.where.setToolTip(folder)
        self.name.setToolTip(str(self.path))
        self.refresh()


def named(name: str, form: FilmFormat) -> str:
    """Return a film's name as its format has it: with the usual suffix in place of another film's, a folder's with none."""
    suffix = Path(name).suffix
    stem = name[: -len(suffix)] if suffix.lower() in _SUFFIXES else name
    return stem + next(iter(form.facts.suffixes), "")


def _has_suffix(name: str) -> bool:
    """Return whether a name ends in what looks like a file's suffix, and not in a number such as `night 1.2`."""
    return Path(name).suffix[1:2].isalpha()
