"""From light and R'G'B' to the codes of video: Y'CbCr, wide primaries, and the two HDR signals, as values and tables.

Light is linear; of SDR 1 is white. HDR is display light on a display of 1000 cd/m2: diffuse white is 203 cd/m2 there (Report
ITU-R BT.2408), what is brighter goes on above. Sources: Rec. ITU-R BT.709-6, BT.2020-2, BT.2087 (primaries), BT.2100-2.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lapsebench.core.transfer import linear_to_srgb

Floats = NDArray[np.float64]

WHITE_NITS, PEAK_NITS = 203.0, 1000.0
"""cd/m2 of diffuse white (Report ITU-R BT.2408 table 1) and of the brightest that an HDR film shows."""
WEIGHTS = {1: (0.2126, 0.7152, 0.0722), 9: (0.2627, 0.6780, 0.0593)}
"""Luma of R', G', B' by H.273 matrix: BT.709-6 item 3.2, BT.2020-2 table 4."""
_KNEE_NITS = 500.0  # up to here HDR light is exact
_GAMMA = 1.2  # of the HLG display of 1000 cd/m2, BT.2100-2 table 5
_M1, _M2 = 2610 / 16384, 2523 / 4096 * 128
_C1, _C2, _C3 = 3424 / 4096, 2413 / 4096 * 32, 2392 / 4096 * 32
_A, _B, _C = 0.17883277, 0.28466892, 0.55991073
_XY = {1: ((0.640, 0.330), (0.300, 0.600), (0.150, 0.060)), 9: ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046))}
_D65 = (0.3127, 0.3290)
_STEPS = 65535


def ycbcr_matrix(matrix: int, bits: int) -> NDArray[np.float32]:
    """Return the (3, 4) matrix from R'G'B' in 0..1, and 1, to Y', Cb and Cr in limited-range codes of `bits`.

    `matrix`: 1 or 9 of H.273 table 4. BT.709-6 items 3 and 4; BT.2020-2 tables 4 and 5.
    """
    red, _, blue = weights = np.array(WEIGHTS[matrix])
    rows = [weights, (np.array([0, 0, 1]) - weights) / (2 - 2 * blue), (np.array([1, 0, 0]) - weights) / (2 - 2 * red)]
    spans, offsets = np.array([219.0, 224.0, 224.0]), np.array([16.0, 128.0, 128.0])
    whole = np.column_stack([np.array(rows) * spans[:, None], offsets]) * 2.0 ** (bits - 8)
    return whole.astype(np.float32)


@lru_cache(maxsize=1)
def to_bt2020() -> NDArray[np.float32]:
    """Return the matrix (3, 3) from linear light of BT.709 primaries to that of BT.2020 (Rec. ITU-R BT.2087)."""
    return np.asarray(np.linalg.inv(_to_xyz(9)) @ _to_xyz(1), np.float32)


def _to_xyz(primaries: int) -> Floats:
    columns = np.array([(x / y, 1.0, (1 - x - y) / y) for x, y in _XY[primaries]]).T
    x, y = _D65
    scale = np.linalg.solve(columns, np.array([x / y, 1.0, (1 - x - y) / y]))
    return np.asarray(columns * scale)


def pq_signal(nits: ArrayLike) -> Floats:
    """Return the PQ signal 0..1 of display light 0..10000 cd/m2 (SMPTE ST 2084; BT.2100-2 table 4)."""
    power = (np.clip(nits, 0, None) / 10000.0) ** _M1
    return np.asarray(((_C1 + _C2 * power) / (1 + _C3 * power)) ** _M2)


def hlg_signal(scene: ArrayLike) -> Floats:
    """Return the HLG signal 0..1 of normalised scene light 0..1 (BT.2100-2 table 5, OETF)."""
    light = np.clip(np.asarray(scene, float), 0, None)
    signal = np.where(light <= 1 / 12, np.sqrt(3 * light), _A * np.log(np.maximum(12 * light - _B, 1e-9)) + _C)
    return np.asarray(signal)


def hlg_scene_share(luminance: ArrayLike) -> Floats:
    """Return what display light 0..1 of `PEAK_NITS` is multiplied by for scene light, by its luminance (inverse OOTF)."""
    y = np.maximum(np.asarray(luminance, float), 1e-9)
    return np.asarray(y ** ((1 - _GAMMA) / _GAMMA))


def peak_share(strongest: NDArray[Any]) -> NDArray[Any]:
    """Return what HDR light is multiplied by so that its strongest channel, 1 = `PEAK_NITS`, ends softly at 1.

    Up to 500 cd/m2 light is exact; above, an exponential shoulder that starts with slope 1 and nears the peak.
    """
    knee = strongest.dtype.type(_KNEE_NITS / PEAK_NITS)
    over = np.maximum(strongest - knee, 0)
    shown = knee - (1 - knee) * np.expm1(-over / (1 - knee))
    return np.asarray(np.where(over > 0, shown / np.maximum(strongest, knee), 1), strongest.dtype)


def places(light: NDArray[np.float32]) -> NDArray[np.int32]:
    """Return where light 0..1, clipped to it, stands in the tables below: even steps of its square root."""
    root = np.sqrt(np.clip(light, 0, 1))
    root *= _STEPS
    root += np.float32(0.5)
    return np.asarray(root.astype(np.int32))


@lru_cache(maxsize=4)
def signal_table(transfer: int) -> NDArray[np.float32]:
    """Return the signal 0..1 at every place: sRGB codes for 1 and 13, PQ (16) with 1 = `PEAK_NITS`, HLG (18) of scene light.

    Transfers as in H.273 table 3; sRGB codes go into films tagged BT.709 unchanged.
    """
    light = (np.arange(_STEPS + 1) / _STEPS) ** 2
    table = {16: lambda: pq_signal(PEAK_NITS * light), 18: lambda: hlg_signal(light)}.get(
        transfer, lambda: linear_to_srgb(light)
    )()
    frozen = table.astype(np.float32)
    frozen.flags.writeable = False
    return frozen


@lru_cache(maxsize=1)
def hlg_share_table() -> NDArray[np.float32]:
    """Return `hlg_scene_share` at every place of luminance."""
    return hlg_scene_share((np.arange(_STEPS + 1) / _STEPS) ** 2).astype(np.float32)
