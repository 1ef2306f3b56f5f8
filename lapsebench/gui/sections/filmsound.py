"""The part of section Film for its music: which file, from where on, its fades, and how loud."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from PySide6.QtCore import QSignalBlocker, QStandardPaths, Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QComboBox,
    QDoubleSpinBox,
    QFileDialog,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from lapsebench.core.sound import Loudness, Sound
from lapsebench.errors import SoundError
from lapsebench.gui.commands import change_film
from lapsebench.gui.parts import label_for, push_button, soft_label
from lapsebench.gui.session import Session
from lapsebench.io.sound import check_sound

_LOUDNESSES = (Loudness.OFF, Loudness.NET, Loudness.BROADCAST)
_KINDS = "*.wav *.flac *.mp3 *.m4a *.aac *.ogg *.opus *.aif *.aiff *.wma *.mka *.mp4 *.mov *.mkv"


class SoundBox(QWidget):
    """A button to choose music; once there is some, what of it is heard and how."""

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self._seen: tuple[Path, float] | None = None
        self.choose = push_button(self.tr("Music…"), self, spoken=self.tr("Choose music for the film"))
        self.name = soft_label(self)
        self.name.setWordWrap(False)
        self.name.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self.drop = push_button(self.tr("No music"), self)
        self.details = QWidget(self)
        self.start, self.fade_in, self.fade_out = (
            self._spin(self.tr("Music starts at its second"), "start_s", 86_400),
            self._spin(self.tr("Music fades in over"), "fade_in_s", 60),
            self._spin(self.tr("Music fades out over"), "fade_out_s", 60),
        )
        self.loudness = QComboBox(self.details)
        self.loudness.setAccessibleName(self.tr("Loudness of the music"))
        self.loudness.setMinimumContentsLength(8)
        self.loudness.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.loudness.addItems([self.tr("as it is"), self.tr("−14 LUFS, for the net"), self.tr("−23 LUFS, for broadcast")])
        self.loudness.activated.connect(self._loudness_chosen)
        self.told = QLabel(self, wordWrap=True, textFormat=Qt.TextFormat.PlainText)
        self.told.setProperty("caution", True)
        self.choose.clicked.connect(self.ask_file)
        self.drop.clicked.connect(self._drop)
        self._lay_out()
        session.project_changed.connect(self.refresh)
        self.refresh()

    def refresh(self) -> None:
        """Show the music of the project."""
        sound = self._session.project.film.sound
        self.details.setVisible(sound is not None)
        self.drop.setVisible(sound is not None)
        self._show_name()
        if sound is None:
            self._tell(None)
            return
        for spin, seconds in (
            (self.start, sound.start_s),
            (self.fade_in, sound.fade_in_s),
            (self.fade_out, sound.fade_out_s),
        ):
            with QSignalBlocker(spin):
                spin.setValue(seconds)
        self.loudness.setCurrentIndex(_LOUDNESSES.index(sound.loudness))
        if self._seen != (sound.path, sound.start_s):
            self._seen = sound.path, sound.start_s
            self._tell(_problem(sound))

    def ask_file(self) -> None:
        """Let the user choose a file; one that holds no sound is refused in words."""
        kinds = f"{self.tr('Music and films')} ({_KINDS});;{self.tr('All files')} (*)"
        text, _ = QFileDialog.getOpenFileName(self, self.tr("Choose music for the film"), str(self._folder()), kinds)
        if not text:
            return
        old, path = self._session.project.film.sound, Path(text)
        sound = Sound(path) if old is None else replace(old, path=path, start_s=0.0)
        problem = _problem(sound)
        self._tell(problem)
        if problem is None:
            self._edit(self.tr("Music of the film"), sound)

    def resizeEvent(self, event: QResizeEvent, /) -> None:
        """Fit the name into the room it has."""
        super().resizeEvent(event)
        self._show_name()

    # -- making the controls

    def _spin(self, name: str, setting: str, most: float) -> QDoubleSpinBox:
        spin = QDoubleSpinBox(self.details, minimum=0, maximum=most, decimals=1, singleStep=0.5)
        spin.setSuffix(self.tr(" s"))
        spin.setMinimumWidth(60)
        spin.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        spin.setKeyboardTracking(False)
        spin.setAccessibleName(name)
        spin.setToolTip(name)
        spin.valueChanged.connect(self._changer(name, setting))
        return spin

    def _lay_out(self) -> None:
        first = QHBoxLayout()
        first.addWidget(self.choose)
        first.addWidget(self.name, 1)
        first.addWidget(self.drop)
        grid = QGridLayout(self.details)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(8)
        starts, heard = self.tr("Starts at"), self.tr("Loudness")
        for row, column, text, control in (
            (0, 0, starts, self.start),
            (1, 0, self.tr("Fade in"), self.fade_in),
            (1, 2, self.tr("out"), self.fade_out),
            (2, 0, heard, self.loudness),
        ):
            grid.addWidget(label_for(text, control, self.details), row, column)
            grid.addWidget(control, row, column + 1, 1, 3 if control is self.loudness else 1)
        grid.setColumnStretch(1, 1)
        grid.setColumnStretch(3, 1)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(4)
        layout.addLayout(first)
        layout.addWidget(self.details)
        layout.addWidget(self.told)

    # -- edits

    def _edit(self, text: str, sound: Sound | None, *, merge: str | None = None) -> None:
        self._session.edit(text, change_film(sound=sound), merge=merge)

    def _set(self, text: str, *, merge: str | None = None, **changes: Any) -> None:
        sound = self._session.project.film.sound
        if sound is not None:
            self._edit(text, replace(sound, **changes), merge=merge)

    def _changer(self, name: str, setting: str) -> Callable[[float], None]:
        return lambda seconds: self._set(name, merge=setting, **{setting: round(seconds, 1)})

    def _loudness_chosen(self, index: int) -> None:
        self._set(self.tr("Loudness of the music"), loudness=_LOUDNESSES[index])

    def _drop(self) -> None:
        self._edit(self.tr("No music"), None)

    # -- words

    def _show_name(self) -> None:
        sound = self._session.project.film.sound
        name = self.tr("none") if sound is None else sound.path.name
        room = max(self.name.width(), 60)
        self.name.setText(self.name.fontMetrics().elidedText(name, Qt.TextElideMode.ElideMiddle, room))
        self.name.setToolTip("" if sound is None else str(sound.path))

    def _tell(self, problem: SoundError | None) -> None:
        self.told.setText("" if problem is None else str(problem))
        self.told.setVisible(problem is not None)
        if self._session.project.film.sound is None:
            self._seen = None

    def _folder(self) -> Path:
        sound = self._session.project.film.sound
        if sound is not None and sound.path.parent.is_dir():
            return sound.path.parent
        return Path(QStandardPaths.writableLocation(QStandardPaths.StandardLocation.MusicLocation) or Path.home())


def _problem(sound: Sound) -> SoundError | None:
    try:
        check_sound(sound)
    except SoundError as error:
        return error
    return None
