"""How the tests read films: the boxes of MP4 and QuickTime files, the planes of decoded frames, and what bars must be."""

from __future__ import annotations

import struct
from collections.abc import Iterator

import av
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

BARS = {
    (255, 255, 255): (235, 128, 128),
    (0, 0, 0): (16, 128, 128),
    (255, 0, 0): (63, 102, 240),
    (0, 255, 0): (173, 42, 26),
    (0, 0, 255): (32, 240, 118),
    (128, 128, 128): (126, 128, 128),
    (255, 255, 0): (219, 16, 138),
    (0, 255, 255): (188, 154, 16),
}
"""Colours by their codes, and their Y', Cb and Cr in 8 bits: Rec. ITU-R BT.709-6 item 4."""
_HOLDERS = {b"moov", b"trak", b"mdia", b"minf", b"stbl", b"udta"}


def boxes(data: bytes, start: int = 0, end: int | None = None) -> Iterator[tuple[bytes, bytes]]:
    """Yield (kind, body) of boxes in order, going into those that hold others."""
    end = len(data) if end is None else end
    while start + 8 <= end:
        size, kind = struct.unpack_from(">I4s", data, start)
        head = 8
        if size == 1:
            (size,), head = struct.unpack_from(">Q", data, start + 8), 16
        size = size or end - start
        yield kind, data[start + head : start + size]
        if kind in _HOLDERS:
            yield from boxes(data, start + head, start + size)
        start += size


def sample_entry(data: bytes) -> tuple[bytes, dict[bytes, bytes]]:
    """Return the kind of the first track's samples and the boxes that tell of them."""
    description = next(body for kind, body in boxes(data) if kind == b"stsd")
    return description[12:16], dict(boxes(description, 8 + 8 + 78))


def planes_of(frame: av.VideoFrame) -> list[Floats]:
    """Return the codes of each plane of a frame, (rows, columns)."""
    kind = "<u2" if frame.format.components[0].bits > 8 else "u1"
    rows = [np.frombuffer(memoryview(plane), kind).reshape(plane.height, -1)[:, : plane.width] for plane in frame.planes]
    return [row.astype(float) for row in rows]
