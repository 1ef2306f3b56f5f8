"""Paints the night strip in layers kept as pictures, so that moving a handle or the playhead redraws no curve."""

from __future__ import annotations

from collections.abc import Callable
from math import ceil

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QFont, QPainter, QPen, QPixmap

from lapsebench.gui.strip_axes import AxisWords, draw_changes, draw_frame_numbers, draw_stops, draw_time
from lapsebench.gui.strip_handles import draw_pegs, draw_playhead, draw_shade, draw_trim
from lapsebench.gui.strip_keogram import Keogram
from lapsebench.gui.strip_model import Curve, StripModel
from lapsebench.gui.strip_plot import curve_pen, draw_curve, draw_dots, draw_faults, line, staircase
from lapsebench.gui.strip_style import Style
from lapsebench.gui.strip_view import StripView

_Paint = Callable[[QPainter, StripModel], None]


class StripLayers:
    """Two kept pictures: the ground (keogram, scales, recorded light) and the film light above it."""

    def __init__(self, view: StripView, words: AxisWords, style: Style) -> None:
        self.view = view
        self.words = words
        self.style = style
        self.hidden: set[Curve] = set()
        self._keogram: QPixmap | None = None
        self._ground: QPixmap | None = None
        self._curves: QPixmap | None = None

    def stale(self) -> None:
        """Redraw everything at the next paint."""
        self._keogram = None
        self.stale_ground()

    def stale_ground(self) -> None:
        """Redraw scales and curves at the next paint, but not the keogram."""
        self._ground = None
        self.stale_curves()

    def stale_curves(self) -> None:
        """Redraw the film light at the next paint."""
        self._curves = None

    def paint(
        self, painter: QPainter, size: QSize, *, ratio: float, model: StripModel, keogram: Keogram, peg: int | None
    ) -> None:
        """Paint the whole strip; `ratio` is physical pixels per pixel, `peg` the frame of the chosen peg."""
        view, style = self.view, self.style
        if self._ground is not None and self._ground.devicePixelRatio() != ratio:
            self.stale()
        if self._keogram is None:
            self._keogram = self._keogram_picture(ratio, model, keogram)
        if self._ground is None:
            self._ground = self._picture(size, ratio, painter.font(), model, self._paint_ground)
        if self._curves is None:
            self._curves = self._picture(size, ratio, painter.font(), model, self._paint_film)
        painter.drawPixmap(0, 0, self._ground)
        painter.drawPixmap(view.keogram, self._keogram, QRectF(self._keogram.rect()))
        painter.drawPixmap(0, 0, self._curves)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        draw_shade(painter, view, model, style)
        draw_trim(painter, view, model, style)
        draw_frame_numbers(painter, view, style, draw_playhead(painter, view, model, style))
        draw_pegs(painter, view, model, style, peg)

    def _keogram_picture(self, ratio: float, model: StripModel, keogram: Keogram) -> QPixmap:
        width = ceil(self.view.keogram.width() * ratio)
        image = keogram.image(self.view.left, self.view.right, width, used=model.used, empty=self.style.empty)
        height = ceil(self.view.keogram.height() * ratio)
        smooth = Qt.TransformationMode.SmoothTransformation
        return QPixmap.fromImage(image.scaled(width, height, Qt.AspectRatioMode.IgnoreAspectRatio, smooth))

    @staticmethod
    def _picture(size: QSize, ratio: float, font: QFont, model: StripModel, paint: _Paint) -> QPixmap:
        picture = QPixmap(size * ratio)
        picture.setDevicePixelRatio(ratio)
        picture.fill(Qt.GlobalColor.transparent)
        painter = QPainter(picture)
        painter.setFont(font)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        paint(painter, model)
        painter.end()
        return picture

    def _paint_ground(self, painter: QPainter, model: StripModel) -> None:
        """Paint all that film light does not change."""
        view, style, hidden = self.view, self.style, self.hidden
        painter.fillRect(view.plot.united(view.marks).united(view.lane), style.plot)
        draw_stops(painter, view, style, self.words, None if Curve.EXPOSURE in hidden else model.exposure_shift)
        draw_time(painter, view, model, style, self.words)
        if Curve.CHANGES not in hidden:
            draw_changes(painter, view, model, style)
        painter.setClipRect(view.plot)
        if Curve.EXPOSURE not in hidden:
            pen = curve_pen(style.exposure, 1.5)
            draw_curve(painter, view, model.exposure + model.exposure_shift, pen=pen, shape=staircase)
        if Curve.SCENE not in hidden:
            pen = curve_pen(style.scene, 1.3, dashed=True)
            draw_curve(painter, view, model.scene + model.scene_shift, pen=pen, shape=line)
        if Curve.LUMINANCE not in hidden:
            draw_dots(painter, view, model, style)
        painter.setClipping(False)
        if Curve.FAULTS not in hidden:
            draw_faults(painter, view, model, style)

    def _paint_film(self, painter: QPainter, model: StripModel) -> None:
        """Paint the film light, the boldest line, over the dots."""
        if Curve.FILM in self.hidden:
            return
        painter.setClipRect(self.view.plot)
        draw_curve(painter, self.view, model.film_seen, pen=curve_pen(self.style.film, 2.8), shape=line)


def focus_ring(painter: QPainter, size: QSize, style: Style) -> None:
    """Show that the keys go to the strip."""
    painter.setPen(QPen(style.playhead, 1))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawRect(0, 0, size.width() - 1, size.height() - 1)
