"""The keogram of the night strip: one column per frame, filled in as frames are measured."""

from __future__ import annotations

from math import ceil

import numpy as np
from numpy.typing import NDArray
from PySide6.QtGui import QColor

Bytes = NDArray[np.uint8]

ROWS = 160
"""Pixels kept of each column."""

_SAMPLES = 4  # columns mixed into one pixel at most: enough that no display is lost between pixels


def _rgb(colour: QColor) -> NDArray[np.float32]:
    return np.array([colour.red(), colour.green(), colour.blue()], np.float32)


class Keogram:
    """Columns of the frames of a shot, (n, ROWS, 3) uint8 sRGB, and which of them are `filled`."""

    def __init__(self, count: int) -> None:
        self.columns: Bytes = np.zeros((count, ROWS, 3), np.uint8)
        self.filled: NDArray[np.bool_] = np.zeros(count, bool)

    def put(self, index: int, column: Bytes) -> None:
        """Take the column of a frame, (height, 3) uint8 sRGB, at any height."""
        if column.ndim != 2 or not column.size:
            return
        rows = (np.arange(ROWS) * column.shape[0]) // ROWS
        self.columns[index] = column[rows]
        self.filled[index] = True

    def image(self, left: float, right: float, width: int, *, used: NDArray[np.bool_], empty: QColor) -> Bytes:
        """Return frames from `left` to `right` (frame i covers i - 0.5 to i + 0.5) as pixels, (`width`, ROWS, 3) uint8 sRGB.

        Columns that fall on one pixel are mixed; frames that are not `used` are grey and dim, unknown ones `empty`.
        """
        width = max(width, 1)
        samples = min(max(ceil((right - left) / width), 1), _SAMPLES)
        at = left + 0.5 + (np.arange(width * samples) + 0.5) * (right - left) / (width * samples)
        index = np.clip(at.astype(int), 0, len(self.filled) - 1)
        picked: Bytes = self.columns[index]
        out = index[~used[index] & self.filled[index]]
        if out.size:
            picked[~used[index] & self.filled[index]] = self._greyed(out, empty)
        picked[~self.filled[index]] = _rgb(empty).astype(np.uint8)
        if samples > 1:
            total = sum(
                (picked[i::samples].astype(np.uint16) for i in range(1, samples)), picked[::samples].astype(np.uint16)
            )
            picked = (total // samples).astype(np.uint8)
        return picked

    def _greyed(self, index: NDArray[np.int_], empty: QColor) -> Bytes:
        """Return columns without colour, half-way to the colour of what is not known."""
        grey = self.columns[index].mean(axis=2, dtype=np.float32, keepdims=True)
        mixed: Bytes = (0.45 * grey + 0.55 * _rgb(empty)).astype(np.uint8)
        return mixed
