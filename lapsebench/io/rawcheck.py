"""Tells a mosaic that holds a picture from what a decoder makes of a damaged file.

A decoder's clean return proves nothing: of files cut short or overwritten it may give zeros, constant rows or noise. Dark
frames, blown frames and skies of high ISO pass, for a sensor's noise is never quite constant and never spans its range.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

_BAND_ROWS = 512
_MOST_ZEROS = 0.6
"""With a black level above 0 noise puts half of the photosites below it at most, and few of those at 0."""
_MOST_ZEROS_AT_BLACK_0 = 0.98
_LEAST_DIFFERENCE = 0.15
"""Median difference of neighbours, of the sensor's range: twice the noise of the smallest sensors at their highest ISO."""
_MOST_LIKENESS = 0.2
"""Correlation of neighbours of one colour in the noise that damaged data decode to."""


def histogram(codes: NDArray[np.uint16], places: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Return how often each code is at the `places` of a repeated tile, (65536,)."""
    counts = np.zeros(65536)
    rows, cols = places.shape
    band = _BAND_ROWS - _BAND_ROWS % rows
    for top in range(0, codes.shape[0], band):
        part = codes[top : top + band]
        for row, col in np.argwhere(places):
            values: Any = np.ascontiguousarray(part[row::rows, col::cols])
            counts += cv2.calcHist([values], [0], None, [65536], [0, 65536]).ravel()
    return counts.astype(np.int64)


def unsound(codes: NDArray[np.uint16], counts: NDArray[np.int64], black: float, white: float) -> str:
    """Return what is wrong with a mosaic (h, w), in words that follow a file's name; "" for a sound one.

    `counts`: its histogram; `black`, `white`: its lowest black level and its full scale in codes.
    """
    used = np.flatnonzero(counts)
    if used.size == 1:
        return "" if used[0] >= white else f"is damaged: all of its sensor data are {used[0]}"
    zeros = counts[0] / codes.size
    if zeros > (_MOST_ZEROS if black >= 1 else _MOST_ZEROS_AT_BLACK_0):
        return f"is damaged: {_percent(zeros)} of its sensor data are missing"
    missing = _constant_tail(codes, white) / codes.shape[0]
    if missing:
        return f"ends early: {_percent(missing)} of the picture is missing"
    if _is_noise(codes, white - black):
        return "is damaged: its sensor data decode to noise"
    return ""


def _percent(share: float) -> str:
    return f"{max(1, min(99, round(100 * share)))} %"


def _constant_tail(codes: NDArray[np.uint16], white: float) -> int:
    """Return how many rows at the end hold one code a colour, below white; 0 for fewer than 2, or all: a made picture."""
    height = codes.shape[0]

    def constant(row: NDArray[np.uint16]) -> bool:
        return bool(row.max() < 0.9 * white and not np.ptp(row[::2]) and not np.ptp(row[1::2]))

    count = 0
    while count < height and constant(codes[height - 1 - count]):
        count += 1
    return count if 2 <= count < height else 0


def _is_noise(codes: NDArray[np.uint16], span: float) -> bool:
    """Tell whether neighbours of one colour differ by much of the whole range and have nothing in common."""
    step = max(1, codes.shape[0] // 256) | 1
    rows = codes[::step].astype(np.float32)
    left, right = rows[:, :-6:3].ravel(), rows[:, 6::3].ravel()  # 6 apart: one colour in both kinds of mosaic
    if left.size < 100 or np.median(np.abs(left - right)) < _LEAST_DIFFERENCE * span:
        return False
    return float(np.corrcoef(left, right)[0, 1]) < _MOST_LIKENESS
