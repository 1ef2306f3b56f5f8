"""From light and R'G'B' to the codes of video: Y'CbCr, wide primaries, and tables of the signals.

Light is linear, 1 = white. Sources: Rec. ITU-R BT.709-6, BT.2020-2 and BT.2087 (primaries).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.formatfacts import HLG_TRANSFER, PQ_TRANSFER
from lapsebench.core.hdr import PEAK_NITS, hlg_scene_share, hlg_signal, pq_signal
from lapsebench.core.transfer import linear_to_srgb

Floats = NDArray[np.float64]

WEIGHTS = {1: (0.2126, 0.7152, 0.0722), 9: (0.2627, 0.6780, 0.0593)}
"""Luma of R', G', B' by H.273 matrix: BT.709-6 item 3.2, BT.2020-2 table 4."""
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
    if transfer == PQ_TRANSFER:
        table = pq_signal(PEAK_NITS * light)
    else:
        table = hlg_signal(light) if transfer == HLG_TRANSFER else linear_to_srgb(light)
    frozen = table.astype(np.float32)
    frozen.flags.writeable = False
    return frozen


@lru_cache(maxsize=1)
def hlg_share_table() -> NDArray[np.float32]:
    """Return `hlg_scene_share` at every place of luminance."""
    return hlg_scene_share((np.arange(_STEPS + 1) / _STEPS) ** 2).astype(np.float32)
