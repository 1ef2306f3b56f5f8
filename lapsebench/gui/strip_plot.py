"""The curves of the light plot: dots, staircase, scene light and film light, with gaps where nothing is known."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtWidgets import QGraphicsItem

from lapsebench.gui.strip_band import StripBands
from lapsebench.gui.strip_model import Curve, Floats, StripModel
from lapsebench.gui.strip_style import DASHES, Style
from lapsebench.gui.strip_view import StripView

KEPT = QGraphicsItem.CacheMode.DeviceCoordinateCache
"""Curves are kept as pictures: what moves over them does not draw them anew."""

SMALLEST, HOLLOW = 2.5, 4.5  # pixels across of a dot at least, and of that of a frame that is left out
CELL = 1.5  # of the dots that stand closer than this, in pixels, one is drawn


def steps(values: Floats) -> tuple[Floats, Floats]:
    """Return the edges and heights of a staircase that holds one value a frame: one step for each run of the same value."""
    known = np.nan_to_num(values, nan=1e6)
    starts = np.flatnonzero(np.diff(known, prepend=-1e6))
    return np.append(starts, values.size) - 0.5, values[starts]


def line(values: Floats, reach: float) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Return places and heights of what is known, and whether each is joined to the next: not over more than `reach` frames.

    A lone frame gets a second point beside it, so that it is seen.
    """
    at = np.flatnonzero(np.isfinite(values)).astype(float)
    joined = np.diff(at, append=np.inf) <= reach
    at = np.sort(np.append(at, at[~joined & ~np.roll(joined, 1)] + 0.4))
    return at, values[at.astype(int)], np.diff(at, append=np.inf) <= reach


class StripCurves:
    """The curves in their box of stops over frames. Luminance lies over scene and exposure, the film over all."""

    def __init__(self, box: pg.ViewBox) -> None:
        self.bands = StripBands(box)
        self._exposure = pg.PlotCurveItem(connect="finite", antialias=True)
        self._scene, self._film = self._line(), self._line()
        self._dots, self._left_out = pg.ScatterPlotItem(), pg.ScatterPlotItem()
        self._items = {
            Curve.EXPOSURE: [self._exposure],
            Curve.SCENE: [self._scene],
            Curve.LUMINANCE: [self._dots, self._left_out],
            Curve.FILM: [self._film],
        }
        for item in (self._scene.curve, self._dots, self._film.curve):
            item.setCacheMode(KEPT)
        for items in self._items.values():
            for item in items:
                box.addItem(item, ignoreBounds=True)

    @staticmethod
    def _line() -> pg.PlotDataItem:
        """Return a line that shows the least and the greatest value where many frames fall on a pixel."""
        reduced = {"autoDownsample": True, "downsampleMethod": "peak", "autoDownsampleFactor": 1.0, "clipToView": True}
        return pg.PlotDataItem(antialias=True, dynamicRangeLimit=None, **reduced)

    def set_style(self, style: Style) -> None:
        """Use the colours of a theme."""
        self._exposure.setPen(style.pen(style.exposure, 1.5))
        self._film.setPen(style.pen(style.film, 2.8))
        self.bands.set_style(style)

    def show(self, model: StripModel, hidden: Collection[Curve]) -> None:
        """Show the curves that are not hidden."""
        self.bands.show(hidden)
        for curve, items in self._items.items():
            for item in items:
                item.setVisible(curve not in hidden)
        self._exposure.setData(*steps(model.exposure + model.exposure_shift), stepMode="center")

    def show_film(self, model: StripModel, view: StripView) -> None:
        """Show the film light."""
        self.bands.show_film(model, view)
        self._draw(self._film, model.film_seen, view)

    @staticmethod
    def _draw(item: pg.PlotDataItem, values: Floats, view: StripView) -> None:
        """Draw a line with gaps where nothing is known for a pixel and a frame at least."""
        at, heights, joined = line(values, max(1.0, 1 / view.column))
        item.curve.setSegmentedLineMode("on" if view.dense else "off")  # many strokes are quicker one by one
        item.setData(at, heights, connect=joined)

    def follow(self, model: StripModel, view: StripView, style: Style) -> None:
        """Suit the looks to the frames and stops in view: dashes only where there is room, and the dots.

        Dots are smaller where frames stand close: full for frames of the film, hollow and grey for those left out. Frames
        outside the range of the plot stand at its edge.
        """
        self._scene.setPen(style.pen(style.scene, 1.3, dashes=() if view.dense else DASHES))
        self.bands.show_scene(model, view)
        self._draw(self._scene, model.scene + model.scene_shift, view)
        self.show_film(model, view)
        size = float(np.clip(view.column * 0.75, SMALLEST, 5.5))
        start, stop = view.visible()
        values, used = model.luminance[start:stop], model.used[start:stop]
        stops_a_pixel = (view.high - view.low) / max(view.plot.height(), 1)
        margin = (size / 2 + 1) * stops_a_pixel
        xs, ys = np.arange(start, stop, dtype=float), np.clip(values, view.low + margin, view.high - margin)
        full = {"size": size, "pen": None, "brush": style.luminance, "symbol": "o" if size > SMALLEST else "s"}
        hollow = {"size": max(size, HOLLOW), "pen": style.pen(style.muted, 1.1), "brush": style.plot}
        for item, chosen, look in ((self._dots, used, full), (self._left_out, ~used, hollow)):
            seen = np.flatnonzero(chosen & np.isfinite(ys))
            if view.dense:
                seen = seen[_distinct(xs[seen] * view.column / CELL, (ys[seen] - view.low) / stops_a_pixel / CELL)]
            item.setData(xs[seen], ys[seen], **look)


def _distinct(xs: Floats, ys: Floats) -> NDArray[np.intp]:
    """Return which points to draw, that no two fall on the same whole number."""
    return np.unique(np.rint(xs) * 65536 + np.rint(ys), return_index=True)[1]
