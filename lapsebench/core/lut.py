"""Look-up tables of colour, one per channel or one in three dimensions, and what they make of a picture.

Values outside the domain are held at its ends. Interpolation in three dimensions is tetrahedral: of the eight nodes around a
colour the four are mixed that stand on the way from the least to the greatest, the strongest channel first (Kasson, Nin,
Plouffe and Hafner, "Performing color space conversions with three-dimensional linear interpolation", Journal of Electronic
Imaging 4(3), 1995). It leaves a grey axis of neutral nodes neutral.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.float32]
Triple = tuple[float, float, float]
Place = tuple[NDArray[np.int32], Image]

_AT_ONCE = 16384  # px worked on at one time: what they need stays in the processor's cache


@dataclass(frozen=True, slots=True, eq=False)
class _Domain(ABC):
    """A `table` of colours (..., 3) float32, its nodes evenly spaced from `low` to `high`, both of R, G, B."""

    table: Image
    low: Triple = (0.0, 0.0, 0.0)
    high: Triple = (1.0, 1.0, 1.0)
    title: str = ""

    def applied(self, colours: Image) -> Image:
        """Return what `colours` (..., 3) become, same shape, float32; NaN is `low`."""
        flat = np.ascontiguousarray(colours, np.float32).reshape(-1, 3)
        result = np.empty_like(flat)
        nodes = np.ascontiguousarray(self.table.reshape(-1, 3).T)
        for start in range(0, len(flat), _AT_ONCE):
            self._mix(flat[start : start + _AT_ONCE], nodes, result[start : start + _AT_ONCE])
        return result.reshape(colours.shape)

    def _places(self, part: Image) -> list[Place]:
        """Return, for each channel of colours (m, 3), the node below, 0..n - 2, and how far beyond it they lie, 0..1."""
        size = self.table.shape[0]
        return [_place(part[:, c], low, high, size) for c, (low, high) in enumerate(zip(self.low, self.high, strict=True))]

    @abstractmethod
    def _mix(self, part: Image, nodes: Image, into: Image) -> None:
        """Write into `into` (m, 3) what the colours `part` (m, 3) become; `nodes` (3, k) are all the table's."""


@dataclass(frozen=True, slots=True, eq=False)
class Lut1D(_Domain):
    """`table`: (n, 3), what R, G, B become at n values each; linear between neighbours."""

    def _mix(self, part: Image, nodes: Image, into: Image) -> None:
        for c, ((node, beyond), column) in enumerate(zip(self._places(part), nodes, strict=True)):
            from_below = column.take(node)
            into[:, c] = from_below + beyond * (column.take(node + 1) - from_below)


@dataclass(frozen=True, slots=True, eq=False)
class Lut3D(_Domain):
    """`table`: (n, n, n, 3), indexed by R, G, B; tetrahedral in between."""

    def _mix(self, part: Image, nodes: Image, into: Image) -> None:
        size = self.table.shape[0]
        steps = (size * size, size, 1)
        (red, r), (green, g), (blue, b) = self._places(part)
        first = red * steps[0] + green * steps[1] + blue
        most, least = np.maximum(np.maximum(r, g), b), np.minimum(np.minimum(r, g), b)
        middle = r + g + b - most - least
        up = np.where(r == most, steps[0], np.where(g == most, steps[1], steps[2])) + first
        last = first + sum(steps)
        down = last - np.where(b == least, steps[2], np.where(g == least, steps[1], steps[0]))
        shares = (1 - most, most - middle, middle - least, least)
        for c, channel in enumerate(nodes):
            mixed = shares[0] * channel.take(first)
            for share, node in zip(shares[1:], (up, down, last), strict=True):
                mixed += share * channel.take(node)
            into[:, c] = mixed


Lut = Lut1D | Lut3D


def _place(values: Image, low: float, high: float, size: int) -> Place:
    """Return the node below each value, 0..size - 2, and how far beyond it the value lies, 0..1."""
    scale = (size - 1) / (high - low)
    along = np.fmin(np.fmax((values - np.float32(low)) * np.float32(scale), np.float32(0)), np.float32(size - 1))
    node = np.minimum(along.astype(np.int32), np.int32(size - 2))
    return node, along - node.astype(np.float32)
