"""Pictures for the screen: a frame as shot or as it will be in the film, at the size it is shown."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.metering import FrameMeasure
from lapsebench.core.sequence import Frame


def picture(frame: Frame, gain_ev: float, *, long_side: int | None = None) -> NDArray[np.uint8]:
    """Return the frame with `gain_ev` applied, (h, w, 3) sRGB, from the source file; `long_side` None is full size."""
    raise NotImplementedError


def proxy_picture(measure: FrameMeasure, gain_ev: float) -> NDArray[np.uint8]:
    """Return the frame's proxy with `gain_ev` applied, (h, w, 3) sRGB: fast enough for playback."""
    raise NotImplementedError
