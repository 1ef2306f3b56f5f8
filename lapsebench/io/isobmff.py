"""The boxes of ISO base media files (ISO/IEC 14496-12 section 4.2), which HEIC stills and CR3 files are made of."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import BinaryIO, NamedTuple

_MOST_BOXES = 10_000  # on one level: far more than any camera writes


class Box(NamedTuple):
    """One box: its four-letter kind, and where its content starts and ends (which may be past the file's end)."""

    kind: bytes
    start: int
    end: int


def boxes(file: BinaryIO, start: int, end: int) -> Iterator[Box]:
    """Yield the boxes between two places of a file; ValueError where they make no chain."""
    at = start
    for _ in range(_MOST_BOXES):
        if at + 8 > end:
            return
        file.seek(at)
        head = file.read(16)
        size, kind = struct.unpack_from(">I4s", head)
        content = at + 8
        if size == 1:
            (size,) = struct.unpack_from(">Q", head, 8)
            content += 8
        elif size == 0:
            size = end - at
        if at + size < content:
            raise ValueError("a box shorter than its own head")
        yield Box(kind, content, at + size)
        at += size


def find(file: BinaryIO, start: int, end: int, kind: bytes) -> Box:
    """Return the first box of a kind; LookupError where there is none."""
    for box in boxes(file, start, end):
        if box.kind == kind:
            return box
    raise LookupError(f"no {kind!r} box")


def content(file: BinaryIO, box: Box, most: int) -> bytes:
    """Return what is in a box; ValueError where it is cut short or longer than `most` bytes."""
    if box.end - box.start > most:
        raise ValueError("a box too long to be true")
    file.seek(box.start)
    data = file.read(box.end - box.start)
    if len(data) < box.end - box.start:
        raise ValueError("a box cut short")
    return data
