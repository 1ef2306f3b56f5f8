"""The row above the night strip: what each line and mark is, buttons to hide it, and the zoom buttons."""

from __future__ import annotations

from dataclasses import replace

from pyqtgraph.graphicsItems.ScatterPlotItem import drawSymbol
from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QBrush, QColor, QIcon, QPainter, QPen, QPixmap, QPolygonF, QResizeEvent, QTransform
from PySide6.QtWidgets import QHBoxLayout, QSizePolicy, QToolButton, QWidget

from lapsebench.core.sequence import Fault
from lapsebench.gui.strip_model import Curve
from lapsebench.gui.strip_style import BAND_ALPHA, DARK, DASHES, FAULT_MARKS, MARK_SIZE, Style

SAMPLE, ICON = QSize(22, 14), QSize(24, 14)
_SPACING = 1  # pixels between buttons
_LINES = {
    Curve.EXPOSURE: [(0, 11), (8, 11), (8, 6), (15, 6), (15, 3), (22, 3)],
    Curve.SCENE: [(0, 10), (7, 6), (14, 8), (22, 4)],
    Curve.FILM: [(0, 10), (8, 6), (15, 7), (22, 4)],
}
_BAND = [(0, 8), (7, 3), (14, 4), (22, 0), (22, 8), (14, 12), (7, 9), (0, 13)]


def draw_sample(painter: QPainter, curve: Curve, style: Style) -> None:
    """Draw what a curve looks like in the plot, in a box of the size `SAMPLE`."""
    if curve is Curve.LUMINANCE:
        pen = QPen(style.luminance, 4.5)
        pen.setCapStyle(Qt.PenCapStyle.RoundCap)
        painter.setPen(pen)
        painter.drawPoints(QPolygonF([QPointF(3, 10), QPointF(8.5, 5), QPointF(14, 8), QPointF(19.5, 4)]))
    elif curve is Curve.BAND:
        colour = QColor(style.scene)
        colour.setAlpha(2 * BAND_ALPHA)  # by itself, so a little stronger
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(colour)
        painter.drawPolygon(QPolygonF([QPointF(x, y) for x, y in _BAND]))
    elif curve is Curve.CHANGES:
        painter.setPen(QPen(style.exposure, 2))
        painter.drawLine(QPointF(4, 1), QPointF(4, 13))
        painter.drawLine(QPointF(14, 1), QPointF(14, 13))
    elif curve is Curve.FAULTS:
        for x, fault in ((6, Fault.UNREADABLE), (16, Fault.BLOWN)):
            colour, path = FAULT_MARKS[fault]
            painter.setTransform(QTransform().translate(x, 7))
            drawSymbol(painter, path, MARK_SIZE, style.pen(style.edge, 1), QBrush(colour))
    else:
        shape = QPolygonF([QPointF(x, y) for x, y in _LINES[curve]])
        colour, width = {
            Curve.EXPOSURE: (style.exposure, 1.8),
            Curve.SCENE: (style.scene, 1.5),
            Curve.FILM: (style.film, 3.0),
        }[curve]
        painter.setPen(style.pen(colour, width, dashes=DASHES if curve is Curve.SCENE else ()))
        painter.drawPolyline(shape)


def sample_icon(curve: Curve, style: Style) -> QIcon:
    """Return the sample of a curve as an icon: an empty dashed box while the curve is hidden."""
    icon = QIcon()
    for state in (QIcon.State.On, QIcon.State.Off):
        picture = QPixmap(ICON * style.ratio)
        picture.setDevicePixelRatio(style.ratio)
        picture.fill(Qt.GlobalColor.transparent)
        painter = QPainter(picture)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        if state is QIcon.State.On:
            draw_sample(painter, curve, style)
        else:
            painter.setPen(QPen(style.muted, 1, Qt.PenStyle.DotLine))
            painter.drawRect(QRectF(1.5, 1.5, SAMPLE.width() - 3, SAMPLE.height() - 3))
        painter.end()
        icon.addPixmap(picture, QIcon.Mode.Normal, state)
    return icon


class StripLegend(QWidget):
    """One checkable button a curve, with a line sample; captions shorten where the row is narrow."""

    curve_toggled = Signal(object, bool)  # Curve, shown
    zoomed = Signal(float)
    whole_wanted = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.captions = self._captions()
        self.buttons = {curve: self._curve_button(curve) for curve in Curve}
        self.zoom_out = self._button("\N{MINUS SIGN}", self.tr("See more of the night (−)"))
        self.zoom_in = self._button("+", self.tr("See fewer frames, closer (+)"))
        self.whole = self._button(self.tr("Whole"), self.tr("See every frame of the shot (Ctrl+0)"))
        self.zoom_out.setAccessibleName(self.tr("Zoom out"))
        self.zoom_in.setAccessibleName(self.tr("Zoom in"))
        self.zoom_out.clicked.connect(lambda: self.zoomed.emit(1 / 1.6))
        self.zoom_in.clicked.connect(lambda: self.zoomed.emit(1.6))
        self.whole.clicked.connect(self.whole_wanted)
        row = QHBoxLayout(self)
        row.setContentsMargins(4, 0, 4, 0)
        row.setSpacing(_SPACING)
        for button in self.buttons.values():
            row.addWidget(button)
        row.addStretch(1)
        for button in (self.zoom_out, self.zoom_in, self.whole):
            row.addWidget(button)
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        self.set_style(DARK)

    def set_style(self, style: Style) -> None:
        """Draw the samples in the colours of a theme."""
        for curve, button in self.buttons.items():
            button.setIcon(sample_icon(curve, replace(style, ratio=self.devicePixelRatioF())))

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Choose the longest captions that fit."""
        super().resizeEvent(event)
        self._shorten()

    def _shorten(self) -> None:
        """Take the full captions, or the short ones, or none, whichever fits."""
        for captions in (0, 1, 2):
            for curve, button in self.buttons.items():
                button.setText((*self.captions[curve], "")[captions])
                icon_only = captions == 2
                style = Qt.ToolButtonStyle.ToolButtonIconOnly if icon_only else Qt.ToolButtonStyle.ToolButtonTextBesideIcon
                button.setToolButtonStyle(style)
            if self._needed() <= self.width():
                return

    def _needed(self) -> int:
        """Return the width the row needs with the captions it has, pixels."""
        buttons = [*self.buttons.values(), self.zoom_out, self.zoom_in, self.whole]
        return sum(b.sizeHint().width() + _SPACING for b in buttons) + 9

    def _captions(self) -> dict[Curve, tuple[str, str]]:
        """Return the full and the short caption of each curve."""
        return {
            Curve.LUMINANCE: (self.tr("Frame luminance"), self.tr("Luminance")),
            Curve.EXPOSURE: (self.tr("Camera exposure"), self.tr("Exposure")),
            Curve.SCENE: (self.tr("Scene light"), self.tr("Scene")),
            Curve.FILM: (self.tr("Film light"), self.tr("Film")),
            Curve.BAND: (self.tr("95 % band"), self.tr("95 %")),
            Curve.CHANGES: (self.tr("Setting changes"), self.tr("Settings")),
            Curve.FAULTS: (self.tr("Faults"), self.tr("Faults")),
        }

    def _curve_button(self, curve: Curve) -> QToolButton:
        button = self._button(self.captions[curve][0], self._hint(curve))
        button.setAccessibleName(self.tr("Show {0}").format(self.captions[curve][0]))
        button.setIconSize(ICON)
        button.setStyleSheet("padding: 3px 0px")  # a caption is worth more than room beside it
        button.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
        button.setCheckable(True)
        button.setChecked(True)
        button.toggled.connect(lambda shown: self.curve_toggled.emit(curve, shown))
        return button

    def _hint(self, curve: Curve) -> str:
        """Return what a curve is, in a sentence."""
        return {
            Curve.LUMINANCE: self.tr("Luminance of each frame as recorded. Frames left out are hollow."),
            Curve.EXPOSURE: self.tr("What the camera was set to, on the scale at the right."),
            Curve.SCENE: self.tr("Light of the sky itself, moved up or down to stand beside the luminance."),
            Curve.FILM: self.tr("Luminance each frame gets in the film. Double-click the plot to set a peg."),
            Curve.BAND: self.tr("How well exposure is known: scene and film light lie within it in 95 frames of 100."),
            Curve.CHANGES: self.tr("Where shutter, ISO or aperture changed. Zoom in to read every label."),
            Curve.FAULTS: self.tr("Frames with something wrong. Point at a mark to read what."),
        }[curve]

    def _button(self, text: str, hint: str) -> QToolButton:
        button = QToolButton(self)
        button.setText(text)
        button.setToolTip(hint)
        button.setAutoRaise(True)
        button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        return button
