"""Small pictures of the film's light in which flashes are looked for, made while the film is."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from lapsebench.core.flash import analysis_size
from lapsebench.core.hdr import PEAK_NITS, WHITE_NITS
from lapsebench.core.transfer import srgb_table

_UNIT_NITS = 200.0  # of white in Rec. ITU-R BT.1702-3, whose limits are absolute


def flash_picture(picture: NDArray[Any], *, hdr: bool) -> NDArray[np.float32]:
    """Return area means of the light of a film's picture, uint8 sRGB codes or linear light (h, w, 3), 1 = white.

    Of HDR 1 is 200 cd/m2, and light goes on up to the display's peak.
    """
    size = analysis_size((picture.shape[1], picture.shape[0]))
    light: Any = cv2.LUT(picture, srgb_table(256)) if picture.dtype == np.uint8 else picture
    if hdr:
        light = np.clip(light * np.float32(WHITE_NITS / _UNIT_NITS), 0, PEAK_NITS / _UNIT_NITS)
    elif picture.dtype != np.uint8:
        light = np.clip(light, 0, 1)
    return np.asarray(cv2.resize(light, size, interpolation=cv2.INTER_AREA), np.float32)
