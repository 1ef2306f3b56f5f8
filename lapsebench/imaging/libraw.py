"""LibRaw's demosaicing of photosites in memory: handed over as a DNG that leaves it nothing else to do."""

from __future__ import annotations

import struct
from io import BytesIO
from typing import Any

import numpy as np
import rawpy
from numpy.typing import NDArray

from lapsebench.core.balance import Matrix, rgb_to_xyz

_FULL = 65535
_FORMS = {1: "B", 3: "H", 4: "I", 10: "ii"}
_BORDER = 24  # whole tiles of either kind; what LibRaw makes of the very edges is not the same twice
_PIECE = 468  # with its border just over the least size that LibRaw takes of 6 x 6 mosaics, and within one of its own tiles,
# for where those meet its result is not the same twice either
_DENOMINATOR = 1_000_000


def demosaic(sites: NDArray[np.uint16], pattern: NDArray[np.uint8], to_bt709: Matrix) -> NDArray[np.uint16]:
    """Return R, G, B (h, w, 3) of balanced photosites (h, w) whose colours are the (2, 2) or (6, 6) `pattern`'s.

    `to_bt709`: balanced camera colour to BT.709, by which directions are compared. Black, white, balance, brightness and
    the curve are switched off: sites keep their codes, so that a pedestal under them keeps noise below black.
    2 x 2 mosaics go by AHD (Hirakawa and Parks 2005), the same whatever lies beyond its reach, 6 x 6 ones by LibRaw's three
    passes.
    """
    height, width = sites.shape
    period = pattern.shape[0]
    padded = sites[np.ix_(_padding(height, period), _padding(width, period))]
    rgb = np.empty((height, width, 3), np.uint16)
    step = _PIECE if period == 6 else max(height, width)
    for top in range(0, height, step):
        for left in range(0, width, step):
            piece = padded[top : top + step + 2 * _BORDER, left : left + step + 2 * _BORDER]
            into = rgb[top : top + step, left : left + step]
            into[:] = _processed(piece, pattern, to_bt709)[_BORDER:, _BORDER:][: into.shape[0], : into.shape[1]]
    return rgb


def _processed(sites: NDArray[np.uint16], pattern: NDArray[np.uint8], to_bt709: Matrix) -> NDArray[np.uint16]:
    with rawpy.imread(BytesIO(_dng(sites, pattern, to_bt709))) as raw:
        rgb: Any = raw.postprocess(
            demosaic_algorithm=rawpy.DemosaicAlgorithm.AHD if pattern.shape == (2, 2) else None,
            user_wb=[1.0, 1.0, 1.0, 1.0],
            user_black=0,
            user_sat=_FULL,
            no_auto_scale=True,
            no_auto_bright=True,
            adjust_maximum_thr=0.0,
            highlight_mode=rawpy.HighlightMode.Ignore,
            output_color=rawpy.ColorSpace.raw,
            output_bps=16,
            gamma=(1, 1),
            user_flip=0,
        )
    return np.asarray(rgb, dtype=np.uint16)


def _padding(size: int, period: int) -> NDArray[np.intp]:
    """Return which rows (or columns) stand where once `size` of them have a border of rows of the same colours."""
    whole = -(-size // _PIECE) * _PIECE if period == 6 else size
    places = np.arange(-_BORDER, whole + _BORDER)
    return np.where(places < 0, places % period, np.where(places < size, places, size - period + (places - size) % period))


def _dng(sites: NDArray[np.uint16], pattern: NDArray[np.uint8], to_bt709: Matrix) -> bytes:
    """Return a DNG (specification 1.4) of linear photosites: black 0, white 65535, neutral (1, 1, 1)."""
    height, width = sites.shape
    to_camera = np.linalg.inv(rgb_to_xyz("BT.709") @ np.array(to_bt709))
    parts = [part for value in to_camera.ravel() for part in (round(float(value) * _DENOMINATOR), _DENOMINATOR)]
    entries: dict[int, tuple[int, list[int]]] = {
        254: (4, [0]),
        256: (4, [width]),
        257: (4, [height]),
        258: (3, [16]),
        259: (3, [1]),
        262: (3, [32803]),
        273: (4, [0]),
        277: (3, [1]),
        278: (4, [height]),
        279: (4, [2 * height * width]),
        33421: (3, list(pattern.shape)),
        33422: (1, pattern.ravel().tolist()),
        50706: (1, [1, 4, 0, 0]),
        50714: (4, [0]),
        50717: (4, [_FULL]),
        50721: (10, parts),
        50728: (10, [1, 1, 1, 1, 1, 1]),
        50778: (3, [21]),
    }
    behind = 8 + 2 + 12 * len(entries) + 4
    lengths = {tag: len(values) * struct.calcsize("<" + _FORMS[kind][0]) for tag, (kind, values) in entries.items()}
    entries[273] = (4, [behind + sum(length for length in lengths.values() if length > 4)])
    table, beyond = struct.pack("<2sHIH", b"II", 42, 8, len(entries)), b""
    for tag, (kind, values) in entries.items():
        form = _FORMS[kind]
        data = struct.pack(f"<{len(values)}{form[0]}", *values)
        place = struct.pack("<I", behind + len(beyond)) if len(data) > 4 else data.ljust(4, b"\0")
        beyond += data if len(data) > 4 else b""
        table += struct.pack("<HHI4s", tag, kind, len(values) // len(form), place)
    return b"".join((table, struct.pack("<I", 0), beyond, np.ascontiguousarray(sites, "<u2").tobytes()))
