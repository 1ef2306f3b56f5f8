"""Section Film: format, quality, shape, size, rate and music of the film."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from PySide6.QtCore import QSignalBlocker, Qt
from PySide6.QtGui import QShowEvent
from PySide6.QtWidgets import QCheckBox, QComboBox, QGridLayout, QLabel, QWidget

from lapsebench.core.filmsettings import Crop
from lapsebench.core.formatfacts import FilmKind
from lapsebench.core.rates import NAMED_RATES
from lapsebench.errors import OutputError
from lapsebench.gui.commands import change_film
from lapsebench.gui.jobs import Jobs
from lapsebench.gui.parts import label_for, soft_label
from lapsebench.gui.sections.base import NamedSlider, Section
from lapsebench.gui.sections.filmformat import FormatChoice, HardwareBox
from lapsebench.gui.sections.filmsize import OwnSize, SizeChoice
from lapsebench.gui.sections.filmsound import SoundBox
from lapsebench.gui.session import Session
from lapsebench.gui.words import Words
from lapsebench.services.filmplan import FilmPlan, film_plan

RATES = tuple(NAMED_RATES.values())
"""Frame rates offered, exact."""


class FilmSection(Section):
    """What the film shall be, and what comes of it in pixels, frames and seconds.

    `jobs` run the trial of the graphics processor's encoder; without them it is not offered.
    """

    def __init__(self, session: Session, parent: QWidget | None = None, *, jobs: Jobs | None = None) -> None:
        super().__init__("", "film", parent)
        self.title = self.tr("Film")
        self.header.setText(self.title)
        self.header.setAccessibleName(self.title)
        self._session, self._words = session, Words(self)
        self._grid = QGridLayout()
        self._grid.setColumnStretch(1, 1)
        self._grid.setHorizontalSpacing(8)
        self._grid.setVerticalSpacing(5)
        self.content.addLayout(self._grid)
        self._add_format(jobs)
        self._add_frame()
        self._add_care_of_raw()
        self.sound = SoundBox(session, self)
        self.content.addWidget(self.sound)
        self.result = QLabel(self, wordWrap=True)
        self.problem = QLabel(self, wordWrap=True, textFormat=Qt.TextFormat.PlainText)
        self.problem.setProperty("caution", True)
        self.content.addWidget(self.result)
        self.content.addWidget(self.problem)
        self.header.toggled.connect(self._offer_hardware)
        session.project_changed.connect(self.refresh)
        self.refresh()

    def refresh(self) -> None:
        """Show the settings of the project and what comes of them."""
        project, used = self._session.project, self._session.used
        film, plan = project.film, film_plan(project, used)
        self.format.show_format(film.format)
        self.facts.setText(self._words.format_facts(plan))
        self.hardware.setChecked(film.hardware)
        self._offer_hardware()
        self.quality.setEnabled(film.format.facts.quality_counts)
        self.quality.set_value(film.quality)
        self._select(self.shape, list(Crop).index(film.crop))
        self.shape.setEnabled(not film.exact)
        self._select(self.rate, RATES.index(film.fps) if film.fps in RATES else -1)
        self.size_box.show_size(project, used)
        self.own.show_size(project)
        raw = any(frame.balance is not None for frame in project.frames)
        for box, on in ((self.fine, film.fine), (self.mend_hot, film.mend_hot)):
            box.setVisible(raw)
            box.setChecked(on)
        text, problem = self._result(plan), _problem(plan) if used else ""
        self.result.setText(text)
        self.problem.setText(problem)
        self.problem.setVisible(bool(problem))
        called = film.format.facts.codec.partition(",")[0]
        self.summarise(f"{text} · {called}" if used else text)

    def showEvent(self, event: QShowEvent, /) -> None:
        """Find out what the graphics processor can do once that is looked at."""
        super().showEvent(event)
        self._offer_hardware()

    # -- making the controls

    def _add_format(self, jobs: Jobs | None) -> None:
        self.format = FormatChoice(self)
        self.format.picked.connect(lambda form: self._edit(self.tr("Format of the film"), format=form))
        self.facts = soft_label(self)
        self.hardware = HardwareBox(jobs, self)
        self.hardware.clicked.connect(lambda on: self._edit(self.tr("Encode on the graphics processor"), hardware=on))
        self.quality = NamedSlider(self.tr("&Quality"), (0, 100), self._quality_words, self)
        self.quality.moved.connect(lambda value: self._edit(self.tr("Quality"), merge="quality", quality=value))
        self.quality.taken.connect(self._session.hold_gesture)
        self.quality.released.connect(self._session.end_gesture)
        self._name(0, self.tr("Format"), self.format)
        for row, widget in enumerate((self.facts, self.hardware, self.quality), start=1):
            self._grid.addWidget(widget, row, 0, 1, 2)

    def _add_frame(self) -> None:
        self.shape = self._choice(self._shape_names(), self._shape_chosen)
        self.size_box, self.own = SizeChoice(self), OwnSize(self)
        self.width_spin, self.height_spin = self.own.width_spin, self.own.height_spin
        self.size_box.picked.connect(self._size_chosen)
        self.own.changed.connect(self._own_changed)
        self.rate = self._choice(self._rate_names(), self._rate_chosen)
        self._name(4, self.tr("&Shape"), self.shape)
        self._name(5, self.tr("Si&ze"), self.size_box)
        self._grid.addWidget(self.own, 6, 1)
        self._name(7, self.tr("Frame rate"), self.rate)

    def _add_care_of_raw(self) -> None:
        longer = self.tr("Works out the colours between photosites with more care; takes several times as long")
        self.fine = self._switch(self.tr("Fine detail of RAW"), longer)
        learnt = self.tr("Learns from frames of each shot which pixels glow while the stars move on; done in the film only")
        self.mend_hot = self._switch(self.tr("Take out hot pi&xels"), learnt)
        self.fine.clicked.connect(lambda on: self._edit(self.tr("Fine detail of RAW"), fine=on))
        self.mend_hot.clicked.connect(lambda on: self._edit(self.tr("Take out hot pixels"), mend_hot=on))

    def _choice(self, items: list[str], chosen: Callable[[int], None]) -> QComboBox:
        box = QComboBox(self)
        box.addItems(items)
        box.setMinimumContentsLength(8)
        box.activated.connect(chosen)
        return box

    def _name(self, row: int, name: str, box: QComboBox) -> None:
        box.setAccessibleName(name.replace("&", ""))
        self._grid.addWidget(label_for(name, box, self), row, 0)
        self._grid.addWidget(box, row, 1)

    def _switch(self, name: str, hint: str) -> QCheckBox:
        box = QCheckBox(name, self)
        box.setToolTip(hint)
        self.content.addWidget(box)
        return box

    def _shape_names(self) -> list[str]:
        names = {
            Crop.SOURCE: self.tr("as the frames"),
            Crop.WIDE: self.tr("16:9 wide"),
            Crop.TALL: self.tr("9:16 upright"),
            Crop.SQUARE: self.tr("1:1 square"),
        }
        return [names[crop] for crop in Crop]

    def _rate_names(self) -> list[str]:
        return [self.tr("{0} frames per second").format(self._words.rate(rate)) for rate in RATES]

    # -- showing

    def _offer_hardware(self) -> None:
        self.hardware.offer(self._session.project.film.format, trying=self.is_open and self.isVisible())

    # -- edits

    def _edit(self, text: str, *, merge: str | None = None, **changes: Any) -> None:
        self._session.edit(text, change_film(**changes), merge=merge)

    def _shape_chosen(self, index: int) -> None:
        self._edit(self.tr("Shape of the film"), crop=list(Crop)[index])

    def _rate_chosen(self, index: int) -> None:
        self._edit(self.tr("Frame rate"), fps=RATES[index])

    def _size_chosen(self, size: tuple[int, int] | None, exact: bool) -> None:
        self._edit(self.tr("Size of the film"), size=size, exact=exact)

    def _own_changed(self, width: int, height: int) -> None:
        self._edit(self.tr("Size of the film"), merge="own size", size=(width, height), exact=True)

    # -- words

    def _quality_words(self, value: int) -> str:
        facts = self._session.project.film.format.facts
        if facts.quality_counts:
            return self._words.quality(value)
        return self.tr("as good as a loop can be") if facts.kind is FilmKind.ANIMATION else self.tr("full quality")

    def _result(self, plan: FilmPlan) -> str:
        if not plan.frames:
            return self.tr("No frames in the film")
        width, height = plan.size
        parts = [f"{width} × {height}", self._words.frames(plan.frames), self._words.seconds(plan.seconds)]
        if plan.fps != self._session.project.film.fps:
            parts.append(self.tr("{0} a second").format(self._words.rate(plan.fps)))
        return " · ".join(parts)

    @staticmethod
    def _select(box: QComboBox, index: int) -> None:
        with QSignalBlocker(box):
            box.setCurrentIndex(index)


def _problem(plan: FilmPlan) -> str:
    try:
        plan.check()
    except OutputError as error:
        return str(error)
    return ""
