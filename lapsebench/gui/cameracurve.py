"""The camera's curve in the window: a row in section Light to use it or not, and its plot against sRGB."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QEvent, QSignalBlocker, Qt, Signal
from PySide6.QtWidgets import QCheckBox, QDialog, QDialogButtonBox, QVBoxLayout, QWidget

from lapsebench.core.curves import CameraCurve, kind_of
from lapsebench.core.response import Origin, srgb_response
from lapsebench.gui.parts import push_button, soft_label
from lapsebench.gui.redlight import set_red_light
from lapsebench.gui.session import Session
from lapsebench.gui.strip_style import DARK, DASHES, GREEN, LIGHT, SKY, VERMILLION
from lapsebench.gui.theme import Theme, worn

_CODES = np.linspace(4 / 255, 1, 240)
_MARKS = np.linspace(0, _CODES.size - 1, 13).astype(int)


class CurveRow(QWidget):
    """Says where the camera's curve comes from, lets it be used or not, and shows it."""

    changed = Signal()

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self.use = QCheckBox(self.tr("&Use the camera's curve"), self)
        self.use.setAccessibleName(self.tr("Use the camera's curve"))
        self.use.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.show_curve = push_button(self.tr("Camera curve..."), self, spoken=self.tr("Show the camera's curve"))
        self.origin = soft_label(self)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(4)
        for widget in (self.use, self.origin):
            layout.addWidget(widget)
        layout.addWidget(self.show_curve, 0, Qt.AlignmentFlag.AlignLeft)
        self.use.toggled.connect(self._switch)
        self.show_curve.clicked.connect(self._open)
        session.project_changed.connect(self.refresh)
        session.shot_changed.connect(self.refresh)
        session.surveyed.connect(self.refresh)
        self.refresh()

    @property
    def curve(self) -> CameraCurve | None:
        """The curve of the current shot's pictures, None while it is unknown."""
        project, shot = self._session.project, self._session.shot
        if shot is None:
            return None
        kind = kind_of(project.frames[shot.first])
        return next((curve for curve in project.curves if curve.kind == kind), None)

    @property
    def _linear(self) -> bool:
        shot = self._session.shot
        return shot is not None and self._session.project.frames[shot.first].balance is not None

    def refresh(self) -> None:
        """Show the curve of the current shot."""
        curve = self.curve
        with QSignalBlocker(self.use):
            self.use.setChecked(self._session.project.use_curve)
        self.use.setEnabled(curve is not None and curve.estimated)
        self.show_curve.setEnabled(curve is not None)
        self.origin.setText(self._words(curve))
        self.use.setAccessibleDescription(self.origin.text())
        self.changed.emit()

    @property
    def state(self) -> str:
        """The curve that light is measured through, in two words."""
        curve = self.curve
        if self._linear:
            return self.tr("linear RAW")
        own = curve is not None and curve.estimated and self.use.isChecked()
        return self.tr("camera curve") if own else self.tr("sRGB curve")

    def _words(self, curve: CameraCurve | None) -> str:
        if self._linear:
            return self.tr("RAW: light as the sensor recorded it, no curve")
        if curve is None:
            return ""
        lead = curve.responses[len(curve.responses) // 2]
        if lead.origin is Origin.MEASURED:
            return self.tr("Camera curve: measured from {0} setting changes").format(lead.changes)
        if lead.origin is Origin.SRGB_FITS:
            return self.tr("Camera curve: sRGB, which fits {0} setting changes as well").format(lead.changes)
        return self.tr("Camera curve: sRGB, too few setting changes to measure it")

    def _switch(self, on: bool) -> None:
        self._session.edit(self.tr("Use the camera's curve"), lambda project: replace(project, use_curve=on))

    def _open(self) -> None:
        curve = self.curve
        if curve is not None:
            CurveWindow(curve, self.origin.text(), self.window()).show()


class CurveWindow(QDialog):
    """Stops of light over codes, red, green and blue against sRGB. Does not stop the work."""

    def __init__(self, curve: CameraCurve, origin: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.setWindowTitle(self.tr("Camera curve"))
        self._curve = curve
        self.plot = pg.PlotWidget(self)
        self.plot.setAccessibleName(self.tr("Camera curve"))
        self.plot.setAccessibleDescription(origin)
        self.plot.setMenuEnabled(False)
        self.plot.setMouseEnabled(x=False, y=False)
        self.plot.hideButtons()
        self.plot.showGrid(x=True, y=True, alpha=0.25)
        self._legend = self.plot.addLegend(offset=(-12, -12))
        self._draw()
        words = soft_label(self, f"{curve.kind}\n{origin}")
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Close, self)
        buttons.rejected.connect(self.close)
        layout = QVBoxLayout(self)
        for widget in (self.plot, words, buttons):
            layout.addWidget(widget)
        self.resize(560, 480)

    def changeEvent(self, event: QEvent, /) -> None:
        """Go with the theme."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.PaletteChange:
            self._draw()

    def _draw(self) -> None:
        theme = worn(self.palette())
        style = LIGHT if theme is Theme.LIGHT else DARK
        set_red_light(self.plot, theme is Theme.RED)
        self.plot.setBackground(style.plot)
        for side, text in (("bottom", self.tr("code, 0 to 255")), ("left", self.tr("light, stops below white"))):
            self.plot.setLabel(side, text, color=style.text.name())
            self.plot.getAxis(side).setTextPen(style.text)
        self._legend.setLabelTextColor(style.text)
        self._legend.setBrush(style.plot)
        self.plot.clear()
        plain = srgb_response().stops(_CODES)
        self.plot.plot(255 * _CODES, plain, pen=style.pen(style.muted, 2.0, dashes=DASHES), name=self.tr("sRGB"))
        channels = ((self.tr("red"), VERMILLION, "t"), (self.tr("green"), GREEN, "o"), (self.tr("blue"), SKY, "s"))
        for k, ((name, colour, symbol), response) in enumerate(zip(channels, self._curve.responses, strict=True)):
            stops = response.stops(_CODES)
            self.plot.plot(255 * _CODES, stops, pen=style.pen(colour, 1.6))
            marks = _MARKS[_CODES.size - 6 * k > _MARKS] + 6 * k
            marked = self.plot.plot(255 * _CODES[marks], stops[marks], pen=None, symbol=symbol, symbolSize=9, name=name)
            marked.setSymbolBrush(colour)
            marked.setSymbolPen(style.plot)
