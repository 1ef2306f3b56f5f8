"""Tone of a look: curves over linear light for shadows, contrast and highlights, each rising and the straight line at 0.

Curves are worked in stops above or below a pivot, so that a part that is twice as bright is treated alike in dusk and night,
and become straight lines through 0 in the darkest parts: black stays black, and no code of black is torn apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

PIVOT = 0.05
"""Linear light that contrast leaves alone: mid grey of a night picture, sRGB code 63 of 255 (own judgement, no source)."""
MOST_SLOPE = 1.8
"""Slope of stops against stops at the pivot at contrast 100; its inverse at -100."""
TOE_EV = 1.5
"""Stops by which shadows 100 raises the darkest parts, and -100 lowers them."""
TOE = (0.001, 0.15)
"""Linear light up to which the darkest parts move as one, and from which on nothing moves: sRGB codes 3 and 108."""
_KNEE_SHARE = 0.6
_LEAST_HIGHLIGHTS = 1e-3  # under it the shoulder is narrower than single precision tells
_LEAST = 1e-12
_STEPS = 8192


@dataclass(frozen=True, slots=True)
class LookTone:
    """`contrast`, `shadows` -100..100, `highlights` 0..100, and the `peak` that light ends at, 1 = white."""

    contrast: float = 0.0
    shadows: float = 0.0
    highlights: float = 0.0
    peak: float = 1.0

    @property
    def is_straight(self) -> bool:
        """Whether light is only cut at the peak."""
        return self.contrast == 0 and self.shadows == 0 and self.highlights == 0

    def shown(self, light: Floats) -> Floats:
        """Return what linear `light` (any shape, 0 or more) becomes, 0..`peak`."""
        return rolled(contrasted(opened(light, self.shadows), self.contrast), self.highlights, self.peak)


def opened(light: Floats, shadows: float) -> Floats:
    """Return linear light with its dark parts moved by up to `TOE_EV` stops, shadows -100..100; twice smooth, rising."""
    if shadows == 0:
        return light
    low, high = np.log2(TOE)
    along = np.clip((_stops(light) - low) / (high - low), 0, 1)
    share = 1 - along**3 * (10 - 15 * along + 6 * along**2)
    return np.asarray(light * np.exp2(TOE_EV * shadows / 100 * share), dtype=float)


def contrasted(light: Floats, contrast: float) -> Floats:
    """Return linear light with contrast -100..100 about `PIVOT`: an S in stops; white and the darkest parts stay.

    The slope at the pivot is `MOST_SLOPE` to the power contrast / 100; from white on, and as many stops below the pivot,
    nothing moves. Twice smooth, rising.
    """
    if contrast == 0:
        return light
    reach = -np.log2(PIVOT)
    away = _stops(light) - np.log2(PIVOT)
    moved = away * np.maximum(1 - (away / reach) ** 2, 0) ** 3
    return np.asarray(light * np.exp2((MOST_SLOPE ** (contrast / 100) - 1) * moved), dtype=float)


def rolled(light: Floats, highlights: float, peak: float = 1.0) -> Floats:
    """Return linear light that ends at `peak`: cut at highlights 0, else along a shoulder that starts with slope 1.

    At highlights t (0..1 of 100) light bends from 1 - 0.6 t of the peak on and reaches it at 1 + t times the peak, level.
    """
    if highlights < _LEAST_HIGHLIGHTS:
        return np.minimum(light, peak)
    share = highlights / 100
    knee, end = peak * (1 - _KNEE_SHARE * share), peak * (1 + share)
    left = np.clip((end - light) / (end - knee), 0, 1)
    return np.where(light > knee, peak - (peak - knee) * left ** ((1 + _KNEE_SHARE) / _KNEE_SHARE), light)


@lru_cache(maxsize=4)
def tone_table(tone: LookTone) -> tuple[NDArray[np.float32], float]:
    """Return the square root of shown light at evenly spaced square roots of light, and how many of them 1 is worth.

    The table ends where light has reached the peak. Straight between its values it is within 2e-6 of the peak from the
    curve; where highlights under 10 make a sharp bend, within 6e-5.
    """
    end = tone.peak * (1 + tone.highlights / 100)
    roots = np.linspace(0, np.sqrt(end), _STEPS)
    table = np.sqrt(tone.shown(roots**2)).astype(np.float32)
    table.flags.writeable = False
    return table, float((_STEPS - 1) / np.sqrt(end))


def _stops(light: Floats) -> Floats:
    return np.log2(np.maximum(light, _LEAST))
