"""How sure the light is: bands about scene light and film light that hold the truth with 95 % certainty."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtCore import Qt
from PySide6.QtGui import QBrush, QColor, QPainterPath
from PySide6.QtWidgets import QGraphicsPathItem

from lapsebench.core.uncertainty import SURE_ERRORS
from lapsebench.gui.strip_model import Curve, Floats, StripModel
from lapsebench.gui.strip_style import BAND_ALPHA, Style
from lapsebench.gui.strip_view import StripView

_HALF = 0.4  # frames that a lone frame's band reaches to either side


def band_edges(low: Floats, high: Floats, at: Floats, per_pixel: float) -> tuple[Floats, Floats, Floats]:
    """Return places, least and greatest value of a band: of the frames on one pixel, `per_pixel` of them, one each.

    Frames where either edge is unknown (NaN) are no part of it.
    """
    known = np.isfinite(low) & np.isfinite(high)
    low, high, at = low[known], high[known], at[known]
    if per_pixel <= 1 or not at.size:
        return at, low, high
    starts = np.flatnonzero(np.diff(np.floor(at / per_pixel), prepend=-1))
    return at[starts], np.minimum.reduceat(low, starts), np.maximum.reduceat(high, starts)


def outline(at: Floats, low: Floats, high: Floats, reach: float) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Return the corners of the band, there along its top and back along its bottom, and whether each is joined to the next.

    It is broken where frames stand more than `reach` apart. A lone frame gets some width, so that it is seen.
    """
    xs: list[Floats] = []
    ys: list[Floats] = []
    joined: list[NDArray[np.bool_]] = []
    for run in np.split(np.arange(at.size), np.flatnonzero(np.diff(at) > reach) + 1):
        if not run.size:
            continue
        there = at[run] if run.size > 1 else at[run[0]] + np.array([-_HALF, _HALF])
        top, bottom = (edge[run] if run.size > 1 else edge[run].repeat(2) for edge in (high, low))
        xs.append(np.concatenate([there, there[::-1]]))
        ys.append(np.concatenate([top, bottom[::-1]]))
        joined.append(np.arange(xs[-1].size) < xs[-1].size - 1)
    if not xs:
        return np.empty(0), np.empty(0), np.empty(0, bool)
    return np.concatenate(xs), np.concatenate(ys), np.concatenate(joined)


class StripBands:
    """The bands in the box of stops over frames, under everything else there."""

    def __init__(self, box: pg.ViewBox) -> None:
        self._items = {curve: QGraphicsPathItem() for curve in (Curve.SCENE, Curve.FILM)}
        for item in self._items.values():
            item.setPen(Qt.PenStyle.NoPen)
            item.setZValue(-1)
            item.setCacheMode(QGraphicsPathItem.CacheMode.DeviceCoordinateCache)  # filling takes longest
            box.addItem(item, ignoreBounds=True)

    def set_style(self, style: Style) -> None:
        """Use the colours of a theme: each band that of its line, so thin that grid and lines show through."""
        for item, line in zip(self._items.values(), (style.scene, style.film), strict=True):
            colour = QColor(line)
            colour.setAlpha(BAND_ALPHA)
            item.setBrush(QBrush(colour))

    def show(self, hidden: Collection[Curve]) -> None:
        """Show the bands of the curves that are not hidden."""
        for curve, item in self._items.items():
            item.setVisible(Curve.BAND not in hidden and curve not in hidden)

    def show_scene(self, model: StripModel, view: StripView) -> None:
        """Show the band about the scene light in view."""
        self._draw(Curve.SCENE, model.scene + model.scene_shift, model.error, view)

    def show_film(self, model: StripModel, view: StripView) -> None:
        """Show the band about the film light in view; a frame that is left out has none."""
        self._draw(Curve.FILM, model.film, np.where(model.used, model.error, np.nan), view)

    def band(self, curve: Curve) -> QPainterPath:
        """Return the band of a curve as drawn, frames across and stops up."""
        return self._items[curve].path()

    def _draw(self, curve: Curve, middle: Floats, error: Floats, view: StripView) -> None:
        first, past = view.visible()
        part = slice(max(first - 1, 0), past + 1)  # up to the edges
        margin = SURE_ERRORS * error[part]
        at = np.arange(part.start, part.start + margin.size, dtype=float)
        frames_a_pixel = 1 / view.column
        edges = band_edges(middle[part] - margin, middle[part] + margin, at, frames_a_pixel)
        corners = outline(*edges, reach=max(1.0, 2 * frames_a_pixel))
        self._items[curve].setPath(pg.arrayToQPath(*corners[:2], connect=corners[2]) if corners[0].size else QPainterPath())
