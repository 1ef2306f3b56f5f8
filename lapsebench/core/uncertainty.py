"""How sure a frame's exposure is: what is told of its standard error, and from where on it is too large to be silent."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

UNCERTAIN_EV = 0.02
"""Standard error in stops above which a frame's exposure is called uncertain.

More often than not (57 %) two such frames side by side are wrong against each other by more than 0.016 stop, the least
flicker that is seen: 0.55 % to either side at 6 Hz (Robson 1966, JOSA 56(8):1141).
"""
SURE_ERRORS = 2.0
"""Standard errors to either side that hold the truth in 95 of 100 frames."""


def uncertain_frames(error_ev: Floats, spoilt: Bools) -> Bools:
    """Return which frames have an uncertain exposure, (n,).

    `error_ev`: (n,) standard errors against the neighbouring frames, stops, NaN unknown; `spoilt`: (n,) frames whose fault
    already says more. A frame alone has no neighbours, so nothing to be uncertain against.
    """
    asked = np.isfinite(error_ev) & ~spoilt
    uncertain: Bools = asked & (np.nan_to_num(error_ev) > UNCERTAIN_EV)
    return uncertain if np.count_nonzero(asked) > 1 else np.zeros_like(asked)
