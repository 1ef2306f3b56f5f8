"""The picture of the night strip: keogram, light plot, marks and grips, laid over each other in one view of pyqtgraph."""

from __future__ import annotations

from dataclasses import replace
from math import ceil

import pyqtgraph as pg
from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QFont, QPainter, QPen
from PySide6.QtWidgets import QGraphicsRectItem, QWidget

from lapsebench.gui.strip_axes import StripScales
from lapsebench.gui.strip_handles import StripGrips
from lapsebench.gui.strip_keogram import ROWS, Keogram
from lapsebench.gui.strip_marks import StripMarks
from lapsebench.gui.strip_model import Curve, StripModel
from lapsebench.gui.strip_plot import KEPT, StripCurves
from lapsebench.gui.strip_style import Style
from lapsebench.gui.strip_view import StripView


def _box(height: int, *, down: bool = False, open_ended: bool = False) -> pg.ViewBox:
    """Return a box that leaves the mouse alone; `down` turns it over, `open_ended` lets marks reach past its edge."""
    box = pg.ViewBox(enableMenu=False, enableMouse=False, invertY=down, defaultPadding=0)
    box.disableAutoRange()
    box.setZValue(height)
    box.setFlag(box.GraphicsItemFlag.ItemClipsChildrenToShape, not open_ended)
    return box


class StripLayers:
    """Boxes on one time axis, from back to front: keogram, light in stops, marks in pixels down, pegs in stops.

    The canvas above has the mouse and the keys; nothing here takes them.
    """

    def __init__(self, view: StripView, style: Style, parent: QWidget) -> None:
        self.view = view
        self.style = style
        self.hidden: set[Curve] = set()
        self.plots = pg.GraphicsView(parent)
        self.plots.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.plots.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.plots.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
        self._sky, self._light = _box(0, down=True), _box(0)
        self._frames, self._pegs = _box(1, down=True, open_ended=True), _box(2, open_ended=True)
        self._image = pg.ImageItem(autoLevels=False)
        self._image.setCacheMode(KEPT)
        self._sky.addItem(self._image, ignoreBounds=True)
        self.curves, self.marks = StripCurves(self._light), StripMarks(self._frames)
        self.scales, self.grips = StripScales(self._light, self._frames, parent), StripGrips(self._frames, self._pegs)
        self._ground, self._focus = QGraphicsRectItem(), QGraphicsRectItem()
        self._ground.setZValue(-2)
        self._ground.setPen(Qt.PenStyle.NoPen)
        self.grips.tag.item.setZValue(0.5)  # the playhead runs into it
        for item in (self._ground, *self.scales.items, *self.boxes, self.grips.tag.item, self._focus):
            self.plots.addItem(item)

    @property
    def boxes(self) -> tuple[pg.ViewBox, ...]:
        """The boxes from back to front."""
        return self._sky, self._light, self._frames, self._pegs

    def lay_out(self, box: QRectF, font: QFont) -> None:
        """Put everything in its place within `box`, as the view shares it out."""
        view = self.view
        self.plots.setGeometry(box.toRect())
        self._focus.setRect(box.adjusted(0.5, 0.5, -0.5, -0.5))
        self._ground.setRect(view.lane.united(view.marks))
        for part, where in zip(self.boxes, (view.keogram, view.plot, view.body, view.plot), strict=True):
            part.setGeometry(where)
        self._sky.setYRange(0, ROWS, padding=0)
        self._frames.setYRange(view.body.top(), view.body.bottom(), padding=0)
        self.scales.lay_out(view, font)
        self._set_style(replace(self.style, ratio=self.plots.devicePixelRatioF()), font)

    def _set_style(self, style: Style, font: QFont) -> None:
        """Use the colours of a theme."""
        self.style = style
        self.plots.setBackground(style.ground)
        self._ground.setBrush(style.plot)
        self._focus.setPen(QPen(style.playhead, 1))
        self.curves.set_style(style)
        self.scales.set_style(style)
        self.grips.set_style(style, font)

    def show(self, model: StripModel, keogram: Keogram, chosen: int | None) -> None:
        """Show everything anew; `chosen` is the frame of the chosen peg."""
        self.curves.show(model, self.hidden)
        self.follow(model, keogram, chosen)

    def follow(self, model: StripModel, keogram: Keogram, chosen: int | None) -> None:
        """Show the frames that are in view now."""
        view, style = self.view, self.style
        for box in self.boxes:
            box.setXRange(view.left, view.right, padding=0)
        width = ceil(view.keogram.width() * style.ratio)
        self._image.setImage(keogram.image(view.left, view.right, width, used=model.used, empty=style.empty))
        self._image.setRect(QRectF(view.left, 0, view.span, ROWS))
        self.scales.show_time(model, view, self.hidden)
        self.marks.show(model, view, style, self.hidden)
        self.show_stops(model)
        self.show_grips(model, chosen)

    def show_stops(self, model: StripModel) -> None:
        """Show the range of stops that is in view now."""
        for box in (self._light, self._pegs):
            box.setYRange(self.view.low, self.view.high, padding=0)
        self.scales.show_stops(model, self.view, self.hidden)
        self.curves.follow(model, self.view, self.style)

    def show_grips(self, model: StripModel, chosen: int | None) -> None:
        """Show trim, pegs and playhead."""
        self.grips.show(model, self.view, self.style, chosen)
        self.show_playhead(model)

    def show_playhead(self, model: StripModel) -> None:
        """Show the playhead, and the frame numbers beside its tag."""
        self.scales.show_numbers(self.view, self.grips.show_playhead(model, self.view))

    def show_focus(self, focused: bool) -> None:
        """Show whether the keys go to the strip."""
        self._focus.setVisible(focused)
