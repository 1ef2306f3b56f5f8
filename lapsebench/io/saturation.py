"""Where the photosites of a RAW frame are saturated: told by the file, or seen in its codes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.mosaic import Three

_TOP_BINS = 14  # of 0.5 % of the range each, looked at below the largest code
_TOP_PART = 5  # of them, in which a pile may lie; the last 8 tell how many codes are usual there
_PILE = 5.0  # times as many codes as usual
_LEAST_PILE = 30
_LIKE = 0.02  # of the range: piles of two colours so near to each other are the sensor's


def saturation(counts: Sequence[NDArray[np.int64]], black: float, white: float, told: Sequence[float]) -> Three:
    """Return the codes from which on R, G, B are saturated.

    `counts`: histograms of the colours' codes; `white`: full scale; `told`: codes the file names a colour, 0 for none.
    Many sensors saturate below full scale, each photosite at a code of its own: codes pile up there. A pile is believed
    where two colours have it alike; an even bright wall piles up too, but each colour of it at its own code.
    """
    nominal = [min(white, own) if own > 0.5 * white else white for own in told[:3]]
    piles = [_pile(colour, black, white) for colour in counts]
    for pile in sorted(code for code in piles if code is not None):
        like = [code if code is not None and 0 <= code - pile <= _LIKE * (white - black) else None for code in piles]
        if sum(code is not None for code in like) >= 2:
            nominal = [min(code, own if own is not None else pile) for code, own in zip(nominal, like, strict=True)]
            break
    red, green, blue = nominal
    return red, green, blue


def _pile(counts: NDArray[np.int64], black: float, white: float) -> float | None:
    """Return the lowest code of the pile at a colour's top; None without one."""
    top = int(np.flatnonzero(counts)[-1])
    step = max(1, round(0.005 * (white - black)))
    if top < 0.6 * white or top < _TOP_BINS * step:
        return None
    bins = [int(counts[top - step * (k + 1) + 1 : top - step * k + 1].sum()) for k in range(_TOP_BINS)]
    usual = max(float(np.median(bins[-8:])), _LEAST_PILE / _PILE)
    piled = [k for k in range(_TOP_PART) if bins[k] > _PILE * usual]
    if not piled:
        return None
    if 2 * counts[top] > sum(bins[: piled[-1] + 1]):
        return float(top)  # all at one code
    return float(top - step * (piled[-1] + 1) + 1)
