"""Section Picture: white balance and look, how large it is shown, what the film shows of it, and what is dimmed."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QCheckBox, QWidget

from lapsebench.gui.framelayer import FrameLayer
from lapsebench.gui.jobs import Jobs
from lapsebench.gui.parts import button_row, push_button
from lapsebench.gui.picture import PictureView, Side
from lapsebench.gui.sections.balance import BalanceBox
from lapsebench.gui.sections.base import NamedSlider, Section
from lapsebench.gui.sections.framing import FramingBox
from lapsebench.gui.sections.look import LookBox
from lapsebench.gui.session import Session


class PictureSection(Section):
    """White balance, look, the film's frame, fit or 100 %, the divide, and whether the cut-off parts are seen."""

    def __init__(self, session: Session, jobs: Jobs, view: PictureView, parent: QWidget | None = None) -> None:
        super().__init__("", "picture", parent)
        self.title = self.tr("Picture")
        self.header.setText(self.title)
        self.header.setAccessibleName(self.title)
        self._view = view
        self.balance = BalanceBox(session, jobs, view, self)
        self.content.addWidget(self.balance)
        self.look = LookBox(session, jobs, self)
        self.content.addWidget(self.look)
        self.frame_layer = FrameLayer(view)
        self.framing = FramingBox(session, self.frame_layer, self)
        self.content.addWidget(self.framing)
        self.divide = NamedSlider(self.tr("Divide"), (0, 100), self._percent, self)
        self.divide.moved.connect(self._move_divide)
        self.content.addWidget(self.divide)
        self.fit = push_button(self.tr("Fit"), self, spoken=self.tr("Fit the picture"), checkable=True)
        self.full = push_button(self.tr("100 %"), self, spoken=self.tr("Picture at 100 %"), checkable=True)
        self.fit.clicked.connect(self._fit)
        self.full.clicked.connect(self._full)
        self.content.addLayout(button_row(self.fit, self.full))
        self.dim = QCheckBox(self.tr("&Dim what the film cuts off"), self)
        self.dim.setChecked(True)
        self.dim.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.dim.setAccessibleName(self.tr("Dim what the film cuts off"))
        self.dim.toggled.connect(view.set_dim_cut)
        view.set_dim_cut(True)
        self.framed = QCheckBox(self.tr("Show the film's frame only"), self)
        self.framed.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.framed.setAccessibleName(self.framed.text())
        self.framed.setToolTip(self.tr("Show the picture cut, moved and straightened as in the film"))
        self.framed.toggled.connect(self._show_framed)
        self.framing.switch.toggled.connect(self._show_around)
        for box in (self.dim, self.framed):
            self.content.addWidget(box)
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

    def _show_framed(self, framed: bool) -> None:
        if framed:
            self.framing.switch.setChecked(False)
        self._view.set_framed(framed)

    def _show_around(self, framing: bool) -> None:
        """Show all of the picture while its frame is dragged."""
        if framing:
            self.framed.setChecked(False)

    def _fit(self) -> None:
        self._view.set_zoom(None)

    def _full(self) -> None:
        self._view.set_zoom(1.0)

    def _percent(self, value: int) -> str:
        return self.tr("{0} %").format(value)
