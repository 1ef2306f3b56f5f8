"""The light of a film's R'G'B' codes, in linear BT.709 RGB.

SDR codes of any tag are shown as sRGB ones, as in our own films (common practice, no source), 1 = white. PQ and HLG are
relative to 200 cd/m², the white of Rec. ITU-R BT.1702-3, so that its limits in cd/m² hold; nothing is clipped.
HLG is shown on a display of 1000 cd/m².
"""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from lapsebench.core.formatfacts import BT2020, HLG_TRANSFER, LINEAR_TRANSFER, PQ_TRANSFER
from lapsebench.core.hdr import PEAK_NITS, hlg_display_share, hlg_scene, pq_nits
from lapsebench.core.transfer import srgb_table
from lapsebench.core.videocodes import WEIGHTS
from lapsebench.io.nclx import coded_profile

_WHITE = 200.0  # cd/m²
_BT2020_WEIGHTS = np.array(WEIGHTS[BT2020], np.float32)


def film_light(codes: NDArray[np.uint8 | np.uint16], transfer: int) -> NDArray[np.float32]:
    """Return linear light in the film's own primaries, (h, w, 3), of full-range codes of that transfer (H.273)."""
    table = _table(np.iinfo(codes.dtype).max + 1, transfer)
    light = np.asarray(cv2.LUT(codes, table), np.float32) if codes.dtype == np.uint8 else np.take(table, codes)
    if transfer == HLG_TRANSFER:
        light *= np.float32(PEAK_NITS / _WHITE) * hlg_display_share(light @ _BT2020_WEIGHTS)[..., None]
    return light


def to_bt709_primaries(light: NDArray[np.float32], primaries: int) -> NDArray[np.float32]:
    """Return linear light in BT.709 primaries; colours outside them have values below 0."""
    matrix = coded_profile(primaries, LINEAR_TRANSFER).matrix
    return light if matrix is None else light @ np.array(matrix, np.float32).T


@lru_cache(maxsize=6)
def _table(levels: int, transfer: int) -> NDArray[np.float32]:
    if transfer not in (PQ_TRANSFER, HLG_TRANSFER):
        return srgb_table(levels)
    codes = np.arange(levels) / (levels - 1)
    return (pq_nits(codes) / _WHITE if transfer == PQ_TRANSFER else hlg_scene(codes)).astype(np.float32)
