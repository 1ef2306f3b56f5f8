"""Groups of the look's controls: sliders that belong together, and the look-up table."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QStandardPaths, Qt, Signal
from PySide6.QtGui import QMouseEvent, QResizeEvent
from PySide6.QtWidgets import QFileDialog, QHBoxLayout, QLabel, QSizePolicy, QWidget

from lapsebench.core.look import Look, limits
from lapsebench.errors import LapsebenchError
from lapsebench.gui.parts import push_button, soft_label
from lapsebench.gui.sections.base import NamedSlider, Section
from lapsebench.gui.sections.lookwords import LookWords
from lapsebench.services.finish import finish_of

_STEPS_PER_STOP = 10


class LookSlider(NamedSlider):
    """A slider of the look, by its field's name; a double-click beside it puts it back."""

    def __init__(self, field: str, words: LookWords, parent: QWidget | None = None, *, home: float = 0.0) -> None:
        self.field, self._scale, self._home = field, _STEPS_PER_STOP if field == "exposure" else 1, home
        least, most = (round(limit * self._scale) for limit in limits(field))
        self.name = words.name(field)
        super().__init__(self.name, (least, most), lambda step: words.value(field, step / self._scale), parent)
        self.setToolTip("\n".join(line for line in (words.hint(field), words.back()) if line))

    @property
    def value(self) -> float:
        """What the slider is at, in the units of its field."""
        return self.slider.value() / self._scale

    def show_value(self, value: float) -> None:
        """Show the value of the field without telling that it was moved."""
        self.set_value(round(value * self._scale))

    def mouseDoubleClickEvent(self, _event: QMouseEvent, /) -> None:
        """Put the slider back to where it does nothing; the slider itself keeps its own clicks."""
        self.slider.setValue(round(self._home * self._scale))


class LookGroup(Section):
    """Some sliders of the look; closed, it says which of them do something."""

    def __init__(self, title: str, spoken: str, key: str, sliders: list[LookSlider], parent: QWidget | None = None) -> None:
        super().__init__(title, key, parent)
        self.header.setAccessibleName(spoken)
        self.content.setContentsMargins(10, 0, 0, 6)
        self.sliders = sliders
        for slider in sliders:
            self.content.addWidget(slider)

    def show_look(self, look: Look) -> None:
        """Show the values of a look."""
        for slider in self.sliders:
            slider.show_value(getattr(look, slider.field))
        moved = (f"{each.name}\N{NO-BREAK SPACE}{each.value_label.text()}" for each in self.sliders if each.value)
        self.summarise(", ".join(moved) or self.tr("nothing changed"))


class TableGroup(LookGroup):
    """The look-up table: which file, and how much of it is taken."""

    wanted = Signal(object)
    removed = Signal()

    def __init__(self, title: str, spoken: str, words: LookWords, parent: QWidget | None = None) -> None:
        self.share = LookSlider("lut_share", words, home=100.0)
        super().__init__(title, spoken, "look-table", [self.share], parent)
        self._file: Path | None = None
        self.choose = push_button(self.tr("Choose…"), self, spoken=self.tr("Choose a look-up table"))
        self.choose.setToolTip(self.tr("A .cube file for sRGB pictures; it comes last, after all sliders"))
        self.remove = push_button(self.tr("Remove"), self, spoken=self.tr("Remove the look-up table"))
        self.name = soft_label(self)
        self.name.setWordWrap(False)
        self.name.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self.told = QLabel(self, wordWrap=True, textFormat=Qt.TextFormat.PlainText)
        self.told.setProperty("caution", True)
        row = QHBoxLayout()
        for widget, stretch in ((self.choose, 0), (self.name, 1), (self.remove, 0)):
            row.addWidget(widget, stretch)
        self.content.insertLayout(0, row)
        self.content.insertWidget(1, self.told)
        self.choose.clicked.connect(self.ask_file)
        self.remove.clicked.connect(self.removed)

    def show_look(self, look: Look) -> None:
        """Show the table of a look, and in words why it can't be used where it can't."""
        self._file = None if look.lut is None else Path(look.lut)
        super().show_look(look)
        for widget in (self.share, self.remove):
            widget.setVisible(look.lut is not None)
        problem = _problem(look)
        self.told.setText("" if problem is None else str(problem))
        self.told.setVisible(problem is not None)
        self._show_name()
        self.summarise(self.tr("none") if self._file is None else f"{self._file.name}, {self.share.value_label.text()}")

    def ask_file(self) -> None:
        """Let the user choose a file, told by `wanted`."""
        kinds = f"{self.tr('Look-up tables')} (*.cube *.CUBE);;{self.tr('All files')} (*)"
        text, _ = QFileDialog.getOpenFileName(self, self.tr("Choose a look-up table"), str(self._folder()), kinds)
        if text:
            self.wanted.emit(Path(text))

    def resizeEvent(self, event: QResizeEvent, /) -> None:
        """Fit the name into the room it has."""
        super().resizeEvent(event)
        self._show_name()

    def _show_name(self) -> None:
        name, room = self.tr("none") if self._file is None else self._file.name, max(self.name.width(), 60)
        self.name.setText(self.name.fontMetrics().elidedText(name, Qt.TextElideMode.ElideMiddle, room))
        self.name.setToolTip("" if self._file is None else str(self._file))

    def _folder(self) -> Path:
        if self._file is not None and self._file.parent.is_dir():
            return self._file.parent
        return Path(QStandardPaths.writableLocation(QStandardPaths.StandardLocation.DocumentsLocation) or Path.home())


def _problem(look: Look) -> LapsebenchError | None:
    try:
        finish_of(look)
    except LapsebenchError as error:
        return error
    return None
