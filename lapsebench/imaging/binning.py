"""Photosites added up to pixels of half the size, without demosaicing: exactly proportional to the light, black included."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from lapsebench.core.mosaic import Mosaic, spread

_BAND_ROWS = 48  # rows added up at one time: few stay in the processor's cache


def binned(mosaic: Mosaic, matrix: NDArray[np.float64]) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Return `matrix` (3, 3) @ mean code above black of R, G, B in blocks, (h/b, w/b, 3), and which channels clip there.

    Blocks are 2 x 2 photosites, 3 x 3 of a 6 x 6 mosaic: the smallest that hold every colour. Nothing is cut off below
    black, so that means in the dark are right. A channel is clipped where any photosite of it in the block is saturated.
    Rows and columns beyond the last whole tile are left out.
    """
    side = 2 if mosaic.pattern.shape == (2, 2) else 3
    rows, cols = (int(np.lcm(a, b)) for a, b in zip(mosaic.pattern.shape, mosaic.black.shape, strict=True))
    colours, black = spread(mosaic.pattern, rows, cols), spread(mosaic.black, rows, cols)
    height, width = (size // tile * tile for size, tile in zip(mosaic.codes.shape, (rows, cols), strict=True))
    light = np.empty((height // side, width // side, 3), np.float32)
    clipped = np.empty(light.shape, np.bool_)
    band = max(rows, _BAND_ROWS // rows * rows)
    for top in range(0, height, band):
        codes = mosaic.codes[top : min(top + band, height), :width]
        out = np.s_[top // side : (top + codes.shape[0]) // side]
        for row in range(0, rows, side):
            planes = [cv2.split(codes[row + i :: rows].reshape(-1, width // cols, cols)) for i in range(side)]
            for col in range(0, cols, side):
                block = np.s_[row : row + side, col : col + side]
                members = [plane for line in planes for plane in line[col : col + side]]
                into = (slice(row // side, None, rows // side), slice(col // side, None, cols // side))
                affine = _affine(matrix, colours[block].ravel(), black[block].ravel())
                light[out][into] = cv2.transform(cv2.merge(members).astype(np.float32), affine)
                clipped[out][into] = _clipped(members, colours[block].ravel(), mosaic.clip)
    return light, clipped


def _affine(matrix: NDArray[np.float64], colours: NDArray[Any], black: NDArray[Any]) -> NDArray[np.float64]:
    """Return the (3, n + 1) matrix of a block's n codes to light."""
    means = np.array([(colours == colour) / max(1, np.count_nonzero(colours == colour)) for colour in range(3)])
    weights = matrix @ means
    return np.column_stack([weights, -weights @ black.astype(float)])


def _clipped(members: list[Any], colours: NDArray[Any], clip: tuple[float, float, float]) -> NDArray[np.bool_]:
    channels = []
    for colour, least in enumerate(clip):
        largest = None
        for member in (plane for plane, own in zip(members, colours, strict=True) if own == colour):
            largest = member if largest is None else cv2.max(largest, member)
        channels.append((np.asarray(largest) >= np.ceil(least)).view(np.uint8))
    return np.asarray(cv2.merge(channels)).view(np.bool_)
