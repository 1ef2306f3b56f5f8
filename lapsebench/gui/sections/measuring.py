"""The part of section Light that is seldom touched: what is measured of the pictures, and through which curve."""

from __future__ import annotations

from PySide6.QtWidgets import QWidget

from lapsebench.gui.cameracurve import CurveRow
from lapsebench.gui.sections.base import Section
from lapsebench.gui.sections.metering import MeteringRow
from lapsebench.gui.session import Session


class Measuring(Section):
    """Metering area and camera curve; closed, it says what they are in one line."""

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__("", "measuring", parent)
        self.title = self.tr("Measuring")
        self.header.setText(self.title)
        self.header.setAccessibleName(self.title)
        self.area, self.curve = MeteringRow(self), CurveRow(session, self)
        for widget in (self.area, self.curve):
            self.content.addWidget(widget)
        self.area.changed.connect(self._tell)
        self.curve.changed.connect(self._tell)
        self._tell()

    def _tell(self) -> None:
        self.summarise(f"{self.area.kind.currentText()}, {self.curve.state}")
