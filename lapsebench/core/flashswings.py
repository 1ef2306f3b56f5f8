"""Where the light or the redness of a picture turns by enough to be half a flash, pixel by pixel.

Texts: WCAG 2.2, "general flash and red flash thresholds"; Rec. ITU-R BT.1702-3 (11/2023). White is 1, in BT.1702 200 cd/m²,
so that its 20 and 160 cd/m² are the 10 % and 0.80 of WCAG.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.transfer import luminance

Floats = NDArray[np.float32]
Bools = NDArray[np.bool_]
Enough = Callable[[Floats, Floats], Bools]

LEAST_CHANGE, DARK_ENOUGH = 0.10, 0.80
"""Of white: the least change of relative luminance that is half a flash, and what its darker state must stay below."""
MICHELSON = 1 / 17
"""BT.1702-3, HDR only: the least contrast where the darker state is 160 cd/m² or more."""
RED_SHARE, RED_CHANGE, RED_UV = 0.8, 20.0, 0.2
"""Saturated red is R/(R+G+B) of 0.8; it must change by more than 20 in 320 (R - G - B), or by more than 0.2 in u'v'."""
DIM = 0.01
"""R + G + B below which a pixel counts as black, without a colour: a choice, for the texts name no floor."""

_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])  # IEC 61966-2-1
_SUMS = np.stack([4 * _XYZ[0], 9 * _XYZ[1], _XYZ[0] + 15 * _XYZ[1] + 3 * _XYZ[2]]).astype(np.float32)  # CIE 1976 UCS
_RED_U, _RED_V = (float(part) for part in (_SUMS[:2, 0] / _SUMS[2, 0]))


class Swings:
    """The changes of every pixel's state up and down, each told once it is far enough from the last turning point.

    In between, the extremes so far are kept: a rise spread over many frames counts as one, at the frame in which it has
    become large enough, and a ripple smaller than that counts as none.
    """

    def __init__(self, enough: Enough) -> None:
        """`enough(low, high)` tells from two arrays of states (k, h, w) where the change between them counts."""
        self._enough = enough
        self._low = self._high = np.zeros((0, 0, 0), np.float32)
        self._direction = np.zeros((0, 0), np.int8)

    def add(self, state: Floats) -> NDArray[np.int8]:
        """Return 1 where the pixel has risen by enough, -1 where it has fallen, else 0, shape (h, w).

        `state` is (k, h, w); its first layer is what rises and falls, NaN where the pixel has no state in this frame.
        """
        if not self._low.size:
            self._low, self._high = np.full_like(state, np.nan), np.full_like(state, np.nan)
            self._low[0], self._high[0] = np.inf, -np.inf
            self._direction = np.zeros(state.shape[1:], np.int8)
        np.copyto(self._high, state, where=state[0] > self._high[0])
        np.copyto(self._low, state, where=state[0] < self._low[0])
        down = (self._direction >= 0) & self._enough(state, self._high)
        up = (self._direction <= 0) & self._enough(self._low, state) & ~down
        turned = up.astype(np.int8) - down.astype(np.int8)
        if turned.any():
            np.copyto(self._high, state, where=up)
            np.copyto(self._low, state, where=down)
            np.copyto(self._direction, turned, where=turned != 0)
        return turned


def general_state(picture: Floats) -> Floats:
    """Return relative luminance, (1, h, w), of linear BT.709 RGB (h, w, 3)."""
    light: Floats = luminance(picture)
    return light[None]


def general_flash(low: Floats, high: Floats) -> Bools:
    """Return where luminance changes by 10 % of white or more, the darker state below 80 % of it."""
    enough: Bools = (high[0] - low[0] >= LEAST_CHANGE) & (low[0] < DARK_ENOUGH)
    return enough


def general_flash_hdr(low: Floats, high: Floats) -> Bools:
    """Return the same for HDR, where lighter states count too if their Michelson contrast is 1/17 or more."""
    bright: Bools = (low[0] >= DARK_ENOUGH) & (high[0] - low[0] >= MICHELSON * (high[0] + low[0]))
    return bright | general_flash(low, high)


def red_states(picture: Floats) -> tuple[Floats, Floats]:
    """Return what the two rules for red look at, of linear BT.709 RGB (h, w, 3).

    The older rule: 320 (R - G - B), not below 0, and 1 where red is saturated; (2, h, w). WCAG 2.2: nearness to the red
    primary in u'v', 1 where red is saturated, u' and v'; (4, h, w), NaN where black has no colour.
    """
    rgb = np.ascontiguousarray(np.moveaxis(picture, 2, 0))
    np.maximum(rgb, 0, out=rgb)
    u, v, whole = (_SUMS @ rgb.reshape(3, -1)).reshape(rgb.shape)
    total = rgb[0] + rgb[1] + rgb[2]
    coloured = total >= DIM
    red = ((rgb[0] >= np.float32(RED_SHARE) * total) & coloured).astype(np.float32)
    scale = np.where(coloured, whole, np.float32(np.nan))
    u, v = u / scale, v / scale
    near = -np.square(u - _RED_U) - np.square(v - _RED_V)
    return np.stack([np.maximum(320 * (2 * rgb[0] - total), 0), red]), np.stack([near, red, u, v])


def red_flash_saturation(low: Floats, high: Floats) -> Bools:
    """Return where the older rule of WCAG sees a change to or from a saturated red."""
    enough: Bools = (high[0] - low[0] > RED_CHANGE) & ((high[1] > 0) | (low[1] > 0))
    return enough


def red_flash_chromaticity(low: Floats, high: Floats) -> Bools:
    """Return where the rule of WCAG 2.2 and ISO 9241-391 sees a change to or from a saturated red."""
    far: Bools = np.square(high[2] - low[2]) + np.square(high[3] - low[3]) > RED_UV**2
    red: Bools = (high[1] > 0) | (low[1] > 0)
    return far & red
