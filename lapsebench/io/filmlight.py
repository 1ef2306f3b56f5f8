"""The light of a film's R'G'B' codes, in linear BT.709 RGB.

SDR codes of any tag are shown as sRGB ones, as in our own films (common practice, no source), 1 = white. PQ and HLG are
relative to 200 cd/m², the white of Rec. ITU-R BT.1702-3, so that its limits in cd/m² hold; nothing is clipped.
PQ: SMPTE ST 2084:2014. HLG: Rec. ITU-R BT.2100-2 table 5, on a display of 1000 cd/m² with a gamma of 1.2.
"""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from lapsebench.core.transfer import srgb_table
from lapsebench.io.nclx import coded_profile

PQ, HLG = 16, 18
"""Code points of ITU-T H.273 table 3."""
_WHITE, _HLG_PEAK, _HLG_GAMMA = 200.0, 1000.0, 1.2
_BT2020_WEIGHTS = np.array([0.2627, 0.6780, 0.0593], np.float32)  # Rec. ITU-R BT.2020-2 table 4


def film_light(codes: NDArray[np.uint8 | np.uint16], transfer: int) -> NDArray[np.float32]:
    """Return linear light in the film's own primaries, (h, w, 3), of full-range codes of that transfer (H.273)."""
    table = _table(np.iinfo(codes.dtype).max + 1, transfer)
    light = np.asarray(cv2.LUT(codes, table), np.float32) if codes.dtype == np.uint8 else np.take(table, codes)
    if transfer == HLG:
        scene = light @ _BT2020_WEIGHTS
        light *= np.float32(_HLG_PEAK / _WHITE) * np.power(scene, np.float32(_HLG_GAMMA - 1))[..., None]
    return light


def to_bt709_primaries(light: NDArray[np.float32], primaries: int) -> NDArray[np.float32]:
    """Return linear light in BT.709 primaries; colours outside them have values below 0."""
    matrix = coded_profile(primaries, 8).matrix
    return light if matrix is None else light @ np.array(matrix, np.float32).T


@lru_cache(maxsize=6)
def _table(levels: int, transfer: int) -> NDArray[np.float32]:
    if transfer not in (PQ, HLG):
        return srgb_table(levels)
    codes = np.arange(levels) / (levels - 1)
    return (_pq(codes) if transfer == PQ else _hlg(codes)).astype(np.float32)


def _pq(codes: NDArray[np.float64]) -> NDArray[np.float64]:
    root = codes ** (1 / 78.84375)
    light = (np.maximum(root - 0.8359375, 0.0) / (18.8515625 - 18.6875 * root)) ** (1 / 0.1593017578125)
    return 10_000.0 / _WHITE * light


def _hlg(codes: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return scene light 0..1, the inverse of the OETF."""
    a = 0.17883277
    b, c = 1 - 4 * a, 0.5 - a * np.log(4 * a)
    return np.where(codes <= 0.5, codes**2 / 3, (np.exp((codes - c) / a) + b) / 12)
