"""The two HDR signals, PQ and HLG, to and from light.

Sources: SMPTE ST 2084:2014 and Rec. ITU-R BT.2100-2 tables 4 and 5. HDR light of our own films is that of a display of
1000 cd/m2: diffuse white is 203 cd/m2 there (Report ITU-R BT.2408), what is brighter goes on above.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

WHITE_NITS, PEAK_NITS = 203.0, 1000.0
"""cd/m2 of diffuse white (Report ITU-R BT.2408 table 1) and of the brightest that an HDR film shows."""
_KNEE_NITS = 500.0  # up to here HDR light is exact
_GAMMA = 1.2  # of the HLG display of 1000 cd/m2, BT.2100-2 table 5
_M1, _M2 = 2610 / 16384, 2523 / 4096 * 128
_C1, _C2, _C3 = 3424 / 4096, 2413 / 4096 * 32, 2392 / 4096 * 32
_A, _B, _C = 0.17883277, 0.28466892, 0.55991073


def pq_signal(nits: ArrayLike) -> Floats:
    """Return the PQ signal 0..1 of display light 0..10000 cd/m2 (SMPTE ST 2084; BT.2100-2 table 4)."""
    power = (np.clip(nits, 0, None) / 10000.0) ** _M1
    return np.asarray(((_C1 + _C2 * power) / (1 + _C3 * power)) ** _M2)


def pq_nits(signal: ArrayLike) -> Floats:
    """Return display light, 0..10000 cd/m2, of the PQ signal 0..1: the inverse of `pq_signal`."""
    root = np.asarray(signal, float) ** (1 / _M2)
    return np.asarray(10000.0 * (np.maximum(root - _C1, 0) / (_C2 - _C3 * root)) ** (1 / _M1))


def hlg_signal(scene: ArrayLike) -> Floats:
    """Return the HLG signal 0..1 of normalised scene light 0..1 (BT.2100-2 table 5, OETF)."""
    light = np.clip(np.asarray(scene, float), 0, None)
    signal = np.where(light <= 1 / 12, np.sqrt(3 * light), _A * np.log(np.maximum(12 * light - _B, 1e-9)) + _C)
    return np.asarray(signal)


def hlg_scene(signal: ArrayLike) -> Floats:
    """Return normalised scene light 0..1 of the HLG signal 0..1: the inverse of `hlg_signal`."""
    codes = np.asarray(signal, float)
    return np.where(codes <= 0.5, codes**2 / 3, (np.exp((codes - _C) / _A) + _B) / 12)


def hlg_scene_share(luminance: ArrayLike) -> Floats:
    """Return what display light 0..1 of `PEAK_NITS` is multiplied by for scene light, by its luminance (inverse OOTF)."""
    y = np.maximum(np.asarray(luminance, float), 1e-9)
    return np.asarray(y ** ((1 - _GAMMA) / _GAMMA))


def hlg_display_share(luminance: NDArray[Any]) -> NDArray[Any]:
    """Return what scene light is multiplied by for display light 0..1 of `PEAK_NITS`, by its luminance 0..1 (OOTF)."""
    return np.asarray(luminance ** luminance.dtype.type(_GAMMA - 1))


def peak_share(strongest: NDArray[Any]) -> NDArray[Any]:
    """Return what HDR light is multiplied by so that its strongest channel, 1 = `PEAK_NITS`, ends softly at 1.

    Up to 500 cd/m2 light is exact; above, an exponential shoulder that starts with slope 1 and nears the peak.
    """
    knee = strongest.dtype.type(_KNEE_NITS / PEAK_NITS)
    over = np.maximum(strongest - knee, 0)
    shown = knee - (1 - knee) * np.expm1(-over / (1 - knee))
    return np.asarray(np.where(over > 0, shown / np.maximum(strongest, knee), 1), strongest.dtype)
