"""Section Film: shape, size, rate and quality of the film."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import Any

from PySide6.QtCore import QSignalBlocker
from PySide6.QtWidgets import QCheckBox, QComboBox, QGridLayout, QHBoxLayout, QLabel, QSpinBox, QWidget

from lapsebench.core.filmsettings import Crop, FilmSettings
from lapsebench.gui.commands import change_film
from lapsebench.gui.parts import label_for
from lapsebench.gui.sections.base import NamedSlider, Section
from lapsebench.gui.session import Session
from lapsebench.gui.words import Words

RATES = tuple(
    Fraction(top, bottom)
    for top, bottom in ((24000, 1001), (24, 1), (25, 1), (30000, 1001), (30, 1), (50, 1), (60000, 1001), (60, 1))
)
"""Frame rates offered, exact."""
BOXES = ((3840, 2160), (1920, 1080))
"""Film sizes offered besides the source's own."""
_SOURCE, _OWN = 0, 1 + len(BOXES)


class FilmSection(Section):
    """What the film shall be, and what comes of it in pixels, frames and seconds."""

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__("", "film", parent)
        self.title = self.tr("Film")
        self.header.setText(self.title)
        self.header.setAccessibleName(self.title)
        self._session, self._words = session, Words(self)
        self._grid = QGridLayout()
        self._grid.setColumnStretch(1, 1)
        self._grid.setHorizontalSpacing(8)
        self.shape = self._choice(0, self.tr("&Shape"), self._shape_names(), self._shape_chosen)
        self.size_box = self._choice(1, self.tr("Si&ze"), self._size_names(), self._size_chosen)
        self.rate = self._choice(3, self.tr("Frame rate"), self._rate_names(), self._rate_chosen)
        self.own = self._own_size()
        self._grid.addWidget(self.own, 2, 1)
        self.content.addLayout(self._grid)
        self.quality = NamedSlider(self.tr("&Quality"), (0, 100), self._quality_words, self)
        self.quality.moved.connect(self._quality_moved)
        self.quality.taken.connect(session.hold_gesture)
        self.quality.released.connect(session.end_gesture)
        self.content.addWidget(self.quality)
        longer = self.tr("Works out the colours between photosites with more care; takes several times as long")
        self.fine = self._switch(self.tr("Fine detail of RAW"), longer)
        learnt = self.tr("Learns from frames of each shot which pixels glow while the stars move on; done in the film only")
        self.mend_hot = self._switch(self.tr("Take out hot pi&xels"), learnt)
        self.fine.clicked.connect(lambda on: self._edit(self.tr("Fine detail of RAW"), fine=on))
        self.mend_hot.clicked.connect(lambda on: self._edit(self.tr("Take out hot pixels"), mend_hot=on))
        self.result = QLabel(self, wordWrap=True)
        self.content.addWidget(self.result)
        session.project_changed.connect(self.refresh)
        self.refresh()

    def refresh(self) -> None:
        """Show the settings of the project and what comes of them."""
        film = self._session.project.film
        own = film.size is not None and (film.exact or film.size not in BOXES)
        self._select(self.shape, list(Crop).index(film.crop))
        self._select(self.rate, RATES.index(film.fps) if film.fps in RATES else -1)
        self._select(self.size_box, _OWN if own else _SOURCE if film.size is None else 1 + BOXES.index(film.size))
        self.shape.setEnabled(not film.exact)
        self.own.setVisible(own)
        if own and film.size is not None:
            for spin, pixels in ((self.width_spin, film.size[0]), (self.height_spin, film.size[1])):
                with QSignalBlocker(spin):
                    spin.setValue(pixels)
        raw = any(frame.balance is not None for frame in self._session.project.frames)
        for box, on in ((self.fine, film.fine), (self.mend_hot, film.mend_hot)):
            box.setVisible(raw)
            box.setChecked(on)
        self.quality.set_value(film.quality)
        text = self._result(film)
        self.result.setText(text)
        self.summarise(text)

    # -- making the controls

    def _choice(self, row: int, name: str, items: list[str], chosen: Callable[[int], None]) -> QComboBox:
        box = QComboBox(self)
        box.addItems(items)
        box.setAccessibleName(name.replace("&", ""))
        box.setMinimumContentsLength(8)
        box.activated.connect(chosen)
        self._grid.addWidget(label_for(name, box, self), row, 0)
        self._grid.addWidget(box, row, 1)
        return box

    def _switch(self, name: str, hint: str) -> QCheckBox:
        box = QCheckBox(name, self)
        box.setToolTip(hint)
        self.content.addWidget(box)
        return box

    def _own_size(self) -> QWidget:
        own = QWidget(self)
        row = QHBoxLayout(own)
        row.setContentsMargins(0, 0, 0, 0)
        self.width_spin, self.height_spin = self._spin(self.tr("Film width")), self._spin(self.tr("Film height"))
        row.addWidget(self.width_spin, 1)
        row.addWidget(QLabel("×", own))
        row.addWidget(self.height_spin, 1)
        return own

    def _spin(self, name: str) -> QSpinBox:
        spin = QSpinBox(self, minimum=16, maximum=8192, singleStep=2)
        spin.setKeyboardTracking(False)
        spin.setAccessibleName(name)
        spin.valueChanged.connect(self._own_changed)
        return spin

    def _shape_names(self) -> list[str]:
        names = {
            Crop.SOURCE: self.tr("as the frames"),
            Crop.WIDE: self.tr("16:9 wide"),
            Crop.TALL: self.tr("9:16 upright"),
            Crop.SQUARE: self.tr("1:1 square"),
        }
        return [names[crop] for crop in Crop]

    def _size_names(self) -> list[str]:
        boxes = [self.tr("4K (3840 × 2160)"), self.tr("1080p (1920 × 1080)")]
        return [self.tr("as the frames"), *boxes, self.tr("own size…")]

    def _rate_names(self) -> list[str]:
        return [self.tr("{0} frames per second").format(self._words.rate(rate)) for rate in RATES]

    # -- edits

    def _edit(self, text: str, *, merge: str | None = None, **changes: Any) -> None:
        self._session.edit(text, change_film(**changes), merge=merge)

    def _shape_chosen(self, index: int) -> None:
        self._edit(self.tr("Shape of the film"), crop=list(Crop)[index])

    def _rate_chosen(self, index: int) -> None:
        self._edit(self.tr("Frame rate"), fps=RATES[index])

    def _size_chosen(self, index: int) -> None:
        text = self.tr("Size of the film")
        if index == _OWN:
            self._edit(text, size=self._framed(self._session.project.film), exact=True)
        else:
            self._edit(text, size=None if index == _SOURCE else BOXES[index - 1], exact=False)

    def _own_changed(self) -> None:
        size = (self.width_spin.value(), self.height_spin.value())
        self._edit(self.tr("Size of the film"), merge="own size", size=size, exact=True)

    def _quality_moved(self, value: int) -> None:
        self._edit(self.tr("Quality"), merge="quality", quality=value)

    # -- words

    def _quality_words(self, value: int) -> str:
        bands = (
            (15, self.tr("smallest file")),
            (40, self.tr("small file")),
            (65, self.tr("good for sharing")),
            (85, self.tr("very good")),
            (100, self.tr("looks like the stills")),
        )
        words = next(word for limit, word in bands if value <= limit)
        return f"{value} · {words}"

    def _framed(self, film: FilmSettings) -> tuple[int, int]:
        frames = self._session.project.frames
        sizes = ((frame.width, frame.height) for frame in frames if frame.width)
        return film.framed_size(*next(sizes, (1920, 1080)))

    def _result(self, film: FilmSettings) -> str:
        count = len(self._session.used)
        if not count:
            return self.tr("No frames in the film")
        width, height = self._framed(film)
        seconds = self._words.seconds(count / float(film.fps))
        return f"{width} × {height} · {self._words.frames(count)} · {seconds}"

    @staticmethod
    def _select(box: QComboBox, index: int) -> None:
        with QSignalBlocker(box):
            box.setCurrentIndex(index)
