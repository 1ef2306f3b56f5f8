"""The part of section Film for its format: the choice by purpose, its facts, and the encoder of the graphics processor."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QCheckBox, QComboBox, QWidget

from lapsebench.core.formats import FilmFormat
from lapsebench.gui.jobs import Jobs, Latest
from lapsebench.io.hardware import hardware_encoder


class FormatChoice(QComboBox):
    """The formats by what they are for, a line between kinds."""

    picked = Signal(object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setMinimumContentsLength(8)
        self.setMaxVisibleItems(20)
        before: tuple[object, ...] = ()
        for form in FilmFormat:
            facts = form.facts
            group = facts.kind, facts.hdr, facts.quality_counts, facts.lossless
            if before and group != before:
                self.insertSeparator(self.count())
            before = group
            self.addItem(_name(form), form.value)
            self.setItemData(self.count() - 1, facts.purpose, Qt.ItemDataRole.ToolTipRole)
        self.activated.connect(lambda index: self.picked.emit(FilmFormat(self.itemData(index))))

    def show_format(self, form: FilmFormat) -> None:
        """Show the format of the project."""
        self.setCurrentIndex(self.findData(form.value))
        self.setToolTip(form.facts.purpose)


class HardwareBox(QCheckBox):
    """Offers the encoder of the graphics processor, and is seen only where one made a trial film of the format.

    Without `jobs`, that run the trial, none is ever offered.
    """

    def __init__(self, jobs: Jobs | None, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setText(self.tr("Encode on the graphics processor"))
        self.setToolTip(self.tr("Takes less time; files are larger at the same quality"))
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self._found: dict[FilmFormat, bool] = {}
        self._wanted = FilmFormat.H264
        self._trial = Latest(jobs, self) if jobs is not None else None
        if self._trial is not None:
            self._trial.ready.connect(self._tried)
        self.hide()

    def offer(self, form: FilmFormat, *, trying: bool) -> None:
        """Show the box if an encoder is known for `form`; `trying` finds out what is not known yet."""
        self._wanted = form
        self.setVisible(self._found.get(form, False))
        if trying and self._trial is not None and form not in self._found:
            self._trial.request(lambda _tick: (form, hardware_encoder(form)))

    def _tried(self, result: tuple[FilmFormat, str | None]) -> None:
        form, encoder = result
        self._found[form] = encoder is not None
        self.setVisible(self._found.get(self._wanted, False))


def _name(form: FilmFormat) -> str:
    """Return what the format is for, and what it is called: `Share: H.264`."""
    facts = form.facts
    called = form.name if facts.hdr else facts.codec.partition(",")[0]
    return f"{facts.purpose.partition(':')[0]}: {called}"
