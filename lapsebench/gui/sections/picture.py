"""Section Picture: the white balance of RAW, how large it is shown, where it is divided, and what is dimmed."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QCheckBox, QHBoxLayout, QPushButton, QWidget

from lapsebench.gui.jobs import Jobs
from lapsebench.gui.parts import push_button
from lapsebench.gui.picture import PictureView, Side
from lapsebench.gui.sections.balance import BalanceBox
from lapsebench.gui.sections.base import NamedSlider, Section
from lapsebench.gui.session import Session


class PictureSection(Section):
    """White balance, fit or 100 %, the divide, and whether the cut-off parts are dimmed."""

    dim_cut_changed = Signal(bool)

    def __init__(self, session: Session, jobs: Jobs, view: PictureView, parent: QWidget | None = None) -> None:
        super().__init__("", "picture", parent)
        self.title = self.tr("Picture")
        self.header.setText(self.title)
        self.header.setAccessibleName(self.title)
        self._view = view
        self.balance = BalanceBox(session, jobs, view, self)
        self.content.addWidget(self.balance)
        self.divide = NamedSlider(self.tr("Divide"), (0, 100), self._percent, self)
        self.divide.moved.connect(self._move_divide)
        self.content.addWidget(self.divide)
        self.fit = push_button(self.tr("Fit"), self, spoken=self.tr("Fit the picture"), checkable=True)
        self.full = push_button(self.tr("100 %"), self, spoken=self.tr("Picture at 100 %"), checkable=True)
        self.fit.clicked.connect(self._fit)
        self.full.clicked.connect(self._full)
        self.content.addLayout(_row(self.fit, self.full))
        self.dim = QCheckBox(self.tr("&Dim what the film cuts off"), self)
        self.dim.setChecked(True)
        self.dim.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.dim.setAccessibleName(self.tr("Dim what the film cuts off"))
        self.dim.toggled.connect(self.dim_cut_changed)
        self.content.addWidget(self.dim)
        for signal in (view.side_changed, view.divide_changed, view.view_changed):
            signal.connect(self.refresh)
        self.refresh()

    def refresh(self) -> None:
        """Show how the picture is shown."""
        view = self._view
        self.divide.set_value(round(view.divide * 100))
        self.divide.setEnabled(view.side is Side.DIVIDED)
        self.fit.setChecked(view.zoom is None)
        self.full.setChecked(view.zoom == 1.0)
        zoom = self.tr("fit") if view.zoom is None else self._percent(round(view.zoom * 100))
        sides = {Side.BEFORE: self.tr("as shot"), Side.DIVIDED: self.tr("divided"), Side.FILM: self.tr("film")}
        self.summarise(f"{sides[view.side]}, {zoom}")

    def _move_divide(self, value: int) -> None:
        self._view.set_divide(value / 100)

    def _fit(self) -> None:
        self._view.set_zoom(None)

    def _full(self) -> None:
        self._view.set_zoom(1.0)

    def _percent(self, value: int) -> str:
        return self.tr("{0} %").format(value)


def _row(*buttons: QPushButton) -> QHBoxLayout:
    row = QHBoxLayout()
    row.setSpacing(4)
    for button in buttons:
        row.addWidget(button)
    return row
