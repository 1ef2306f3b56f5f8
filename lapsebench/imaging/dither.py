"""The dither that keeps smooth skies smooth: a pattern without coarse waves, one code wide, moving from frame to frame."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

_SIDE = 128
_ROUNDS = 16
_COARSE = 0.25  # cycles a pixel: waves well below are taken out


def dither(shape: tuple[int, int], number: int, plane: int = 0, *, row: int = 0) -> NDArray[np.float32]:
    """Return the dither of a plane of frame `number`, (h, w), from `row` on, in codes: -0.5..0.5, evenly spread.

    Rounding a value with it gives the code above or below as often as the value asks, so that means are right and exact
    codes, black among them, stay exact. The pattern is one for all frames, laid elsewhere on each; the same every time.
    """
    at = 3 * number + plane
    top, left = (row + int(at * 0.7548776662 * _SIDE)) % _SIDE, int(at * 0.5698402910 * _SIDE) % _SIDE
    height, width = shape
    return _tiled(height, width)[top : top + height, left : left + width]


@lru_cache(maxsize=4)
def _tiled(height: int, width: int) -> NDArray[np.float32]:
    """Return the pattern repeated over a plane and one side more each way, so that any shift of it is a view."""
    pattern = _pattern()
    across, down = -(-width // _SIDE) + 1, -(-height // _SIDE) + 1
    whole = np.tile(pattern, (down, across))
    whole.flags.writeable = False
    return whole


@lru_cache(maxsize=1)
def _pattern() -> NDArray[np.float32]:
    """Return the pattern: white noise freed of coarse waves and ranked again, round after round: all values occur."""
    values = np.random.default_rng(2).random((_SIDE, _SIDE))
    wave = np.hypot(*np.meshgrid(np.fft.fftfreq(_SIDE), np.fft.fftfreq(_SIDE)))
    gain = 1 - np.exp(-((wave / _COARSE) ** 4))
    for _ in range(_ROUNDS):
        fine = np.fft.ifft2(np.fft.fft2(values - values.mean()) * gain).real
        ranks = np.empty(fine.size)
        ranks[np.argsort(fine, axis=None)] = np.arange(fine.size)
        values = ((ranks + 0.5) / fine.size).reshape(fine.shape)
    return (values - 0.5).astype(np.float32)
