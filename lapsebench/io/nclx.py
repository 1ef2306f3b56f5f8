"""Colour profiles of HEIC stills that name theirs by code points (ITU-T H.273, sections 8.1 and 8.2)."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from lapsebench.core.formatfacts import HLG_TRANSFER, LINEAR_TRANSFER, PQ_TRANSFER
from lapsebench.core.hdr import hlg_scene, pq_nits
from lapsebench.io.icc import SRGB, SRGB_CURVE, ColourProfile, Curve, to_bt709, to_d50

_PRIMARIES = {
    1: ("BT.709", ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))),
    9: ("BT.2020", ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046))),
    12: ("Display P3", ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))),
}
_LIKE_SRGB = frozenset({1, 2, 6, 13, 14, 15})
"""BT.709 codes are shown as sRGB ones, as in the film (common practice, no source); 2 is "not said"."""
_PQ_WHITE = 1000.0  # cd/m^2: the peak that cameras grade their HDR stills for, clipped there; common practice, no source


def _curve(transfer: int) -> Curve | None:
    if transfer in _LIKE_SRGB:
        return SRGB_CURVE
    if transfer in (PQ_TRANSFER, HLG_TRANSFER):
        codes = np.linspace(0.0, 1.0, 4096)
        light = np.minimum(pq_nits(codes) / _PQ_WHITE, 1.0) if transfer == PQ_TRANSFER else hlg_scene(codes)
        return Curve(samples=tuple(map(float, light)))
    powers = {4: 2.2, 5: 2.8, 8: 1.0}
    return Curve(parameters=(powers[transfer], 1.0, 0.0, 0.0, 0.0, 0.0, 0.0)) if transfer in powers else None


@lru_cache(maxsize=32)
def coded_profile(primaries: int, transfer: int) -> ColourProfile:
    """Return what RGB codes of these colour primaries and transfer mean; sRGB, with a note, where that isn't known."""
    curve = _curve(transfer)
    if curve is None or primaries not in (*_PRIMARIES, 2):
        why = f"The colour code {primaries}/{transfer} is not known: sRGB is assumed."
        return ColourProfile("sRGB", SRGB.curves, note=why)
    name, xy = _PRIMARIES.get(primaries, _PRIMARIES[1])
    matrix = to_bt709(to_d50(xy))
    if curve == SRGB_CURVE and matrix is None:
        return SRGB
    suffix = {PQ_TRANSFER: " PQ", HLG_TRANSFER: " HLG", LINEAR_TRANSFER: " linear"}.get(transfer, "")
    return ColourProfile(name + suffix, (curve, curve, curve), matrix)
