"""What is measured in a frame: a coarse grid of tiles in linear light, and numbers drawn from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.transfer import luminance

ROWS, COLS = 43, 64
"""Tiles of the measuring grid for a wide picture; upright ones use it turned."""
LEAST_LIGHT = 2.0**-20
"""Linear light that black is taken for, so that its stops are finite."""


@dataclass(frozen=True, slots=True)
class FrameMeasure:
    """Tiles of one frame.

    `tiles`: (rows, cols, 3) float32, mean linear BT.709 light per channel, 1 = white; colours beyond BT.709 reach below
    0 and above 1. `clipped`: (rows, cols, 3) float32, share of the tile's pixels whose channel is at the top code.
    `column`: (height, 3) uint8 sRGB, the centre column for the night strip. `proxy`: a small JPEG of the upright frame.
    """

    tiles: NDArray[np.float32]
    clipped: NDArray[np.float32]
    column: NDArray[np.uint8]
    proxy: bytes

    @property
    def luminance_ev(self) -> float:
        """Frame luminance: log2 of the mean linear luminance, stops below white."""
        return float(np.log2(max(float(luminance(self.tiles).mean()), LEAST_LIGHT)))

    @property
    def clipped_share(self) -> float:
        """Share 0..1 of the picture with a channel at the top code."""
        return float(self.clipped.max(axis=2).mean())
