"""The metering area: the part of the picture that is measured, as shares of the upright picture, and edits of it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Box = tuple[float, float, float, float]
Skyline = tuple[float, ...]

LEAST_SIDE = 0.02
"""Share of the picture that a box is at least wide and high."""
MOST_POINTS = 512
"""Points that a skyline has at most."""
_FINE = 8  # points a tile and direction that an ellipse is summed over


class AreaKind(StrEnum):
    """What is measured; the value is what is stored and written to reports."""

    WHOLE = "whole"
    SKY = "sky"
    GROUND = "ground"
    RECTANGLE = "rectangle"
    ELLIPSE = "ellipse"


@dataclass(frozen=True, slots=True)
class MeteringArea:
    """What is measured of the pictures of a shot.

    `box`: x, y, width and height of rectangle or ellipse, shares 0..1 of the upright picture, from its upper left corner.
    `horizon`: the skyline drawn by hand, at points evenly spaced from the left edge to the right (the k-th of n stands at
    (k + 1/2) / n): the share 0..1 of the height, from the top, at which ground begins. None: the one that is found.
    """

    kind: AreaKind = AreaKind.WHOLE
    box: Box = (0.3, 0.2, 0.4, 0.4)
    horizon: Skyline = ()

    def __post_init__(self) -> None:
        """Raise ValueError for what lies outside the picture or is not a number."""
        x, y, width, height = self.box
        inside = min(x, y) >= 0 and max(x + width, y + height) <= 1 + 1e-9 and min(width, height) >= LEAST_SIDE - 1e-9
        if not inside:
            raise ValueError("a metering area lies outside the picture")
        if len(self.horizon) > MOST_POINTS or not all(0 <= share <= 1 for share in self.horizon):
            raise ValueError("a horizon lies outside the picture")

    @property
    def by_horizon(self) -> bool:
        """Whether a skyline bounds the area."""
        return self.kind in (AreaKind.SKY, AreaKind.GROUND)

    @property
    def by_box(self) -> bool:
        """Whether a box bounds the area."""
        return self.kind in (AreaKind.RECTANGLE, AreaKind.ELLIPSE)


def coverage(area: MeteringArea, rows: int, cols: int) -> NDArray[np.float32]:
    """Return how much of each tile lies within the area, (rows, cols), 0..1; all of it where the horizon is unknown."""
    if area.by_box:
        x, y, width, height = area.box
        if area.kind is AreaKind.ELLIPSE:
            return _ellipse(area.box, rows, cols)
        return np.outer(_overlap(y, y + height, rows), _overlap(x, x + width, cols)).astype(np.float32)
    if not area.by_horizon or not area.horizon:
        return np.ones((rows, cols), np.float32)
    starts = skyline_at(area.horizon, (np.arange(cols) + 0.5) / cols) * rows
    ground = np.clip(np.arange(1, rows + 1)[:, None] - starts, 0, 1)
    return (1 - ground if area.kind is AreaKind.SKY else ground).astype(np.float32)


def skyline_at(skyline: Skyline, places: Floats) -> Floats:
    """Return the skyline at `places`, (k,) shares 0..1 of the width: straight between its points."""
    points = (np.arange(len(skyline)) + 0.5) / len(skyline)
    return np.asarray(np.interp(places, points, np.array(skyline)), dtype=float)


def flat_skyline(share: float = 0.75, points: int = 64) -> Skyline:
    """Return a level skyline at a share 0..1 of the height, from the top."""
    return (share,) * points


def raised(skyline: Skyline, by: float) -> Skyline:
    """Return the skyline lowered (by > 0) or raised as a whole by a share of the height, kept in the picture."""
    return tuple(min(max(share + by, 0.0), 1.0) for share in skyline)


def pulled(skyline: Skyline, place: float, by: float, reach: float) -> Skyline:
    """Return the skyline moved by `by` at `place` and less and less up to `reach` beside it, kept in the picture."""
    count = len(skyline)
    moved = []
    for k, share in enumerate(skyline):
        away = min(abs((k + 0.5) / count - place) / reach, 1.0)
        moved.append(min(max(share + by * (1 + math.cos(math.pi * away)) / 2, 0.0), 1.0))
    return tuple(moved)


def box_between(first: tuple[float, float], second: tuple[float, float]) -> Box:
    """Return the box with two opposite corners, kept in the picture and not too small."""
    (left, width), (top, height) = (_side(first[k], second[k]) for k in (0, 1))
    return left, top, width, height


def moved_box(box: Box, across: float, down: float) -> Box:
    """Return the box moved by shares of the picture, as far as it goes."""
    x, y, width, height = box
    return min(max(x + across, 0.0), 1 - width), min(max(y + down, 0.0), 1 - height), width, height


def grown_box(box: Box, across: float, down: float) -> Box:
    """Return the box made wider and higher about its middle by shares of the picture, kept in the picture."""
    sides = []
    for start, size, by in ((box[0], box[2], across), (box[1], box[3], down)):
        wanted = min(max(size + by, LEAST_SIDE), 1.0)
        sides.append((min(max(start + (size - wanted) / 2, 0.0), 1 - wanted), wanted))
    (x, width), (y, height) = sides
    return x, y, width, height


def with_horizon(area: MeteringArea, found: Skyline) -> MeteringArea:
    """Return the area with the skyline that was found, unless one is drawn by hand."""
    return area if area.horizon else replace(area, horizon=found)


def _side(first: float, second: float) -> tuple[float, float]:
    """Return start and size of a side between two shares."""
    low, high = sorted((min(max(first, 0.0), 1.0), min(max(second, 0.0), 1.0)))
    low = min(low, 1 - LEAST_SIDE)
    return low, max(high - low, LEAST_SIDE)


def _overlap(start: float, end: float, count: int) -> Floats:
    """Return how much of each of `count` equal parts of 0..1 lies between `start` and `end`, (count,), 0..1."""
    edges = np.arange(count + 1)
    inside = np.minimum(edges[1:], end * count) - np.maximum(edges[:-1], start * count)
    return np.asarray(np.clip(inside, 0, 1), dtype=float)


def _ellipse(box: Box, rows: int, cols: int) -> NDArray[np.float32]:
    x, y, width, height = box
    down = ((np.arange(rows * _FINE) + 0.5) / (rows * _FINE) - y - height / 2) / (height / 2)
    across = ((np.arange(cols * _FINE) + 0.5) / (cols * _FINE) - x - width / 2) / (width / 2)
    inside = down[:, None] ** 2 + across**2 <= 1
    return np.asarray(inside.reshape(rows, _FINE, cols, _FINE).mean(axis=(1, 3)), np.float32)
