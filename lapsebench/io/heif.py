"""HEIC stills: what their header says (ISO/IEC 23008-12, ISO/IEC 14496-12 section 8.11), and decoding them."""

from __future__ import annotations

import struct
from io import BytesIO
from typing import BinaryIO, NamedTuple

import numpy as np
import pillow_heif
from numpy.typing import NDArray

from lapsebench.io.isobmff import Box, boxes, content, find

_BRANDS = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"mif2", b"msf1"})
_LONGEST = 16_000_000  # bytes of a header: far more than any camera writes
_MOST_ITEMS = 5000


class HeifFacts(NamedTuple):
    """What the header says: size as decoded, colour, Exif block, and the places (start, length) of coded pictures."""

    width: int
    height: int
    bit_depth: int
    icc: bytes
    nclx: tuple[int, int] | None
    exif: bytes
    pieces: tuple[tuple[int, int], ...]


class _Item(NamedTuple):
    kind: bytes
    in_header: bool
    extents: tuple[tuple[int, int], ...]


def is_heif(magic: bytes) -> bool:
    """Return whether a file's first bytes (16 or more) are those of a HEIC still."""
    return magic[4:8] == b"ftyp" and magic[8:12] in _BRANDS


class _Fields:
    """Reads big-endian numbers one after another."""

    def __init__(self, data: bytes, at: int = 0) -> None:
        self._data, self.at = data, at

    def number(self, size: int) -> int:
        if self.at + size > len(self._data):
            raise ValueError("a table cut short")
        self.at += size
        return int.from_bytes(self._data[self.at - size : self.at], "big")


def _kinds(meta: bytes, box: Box) -> dict[int, bytes]:
    """Return item -> kind from the item information box."""
    version = meta[box.start]
    kinds = {}
    for entry in boxes(BytesIO(meta), box.start + (6 if version == 0 else 8), box.end):
        wide = meta[entry.start] == 3
        fields = _Fields(meta, entry.start + 4)
        item = fields.number(4 if wide else 2)
        fields.number(2)
        kinds[item] = meta[fields.at : fields.at + 4]
    return kinds


def _items(meta: bytes, box: Box, kinds: dict[int, bytes]) -> dict[int, _Item]:
    """Return the items and where they lie, from the item location box."""
    version = meta[box.start]
    fields = _Fields(meta, box.start + 4)
    sizes = fields.number(2)
    offset_size, length_size, base_size = sizes >> 12, sizes >> 8 & 15, sizes >> 4 & 15
    index_size = sizes & 15 if version else 0
    items = {}
    for _ in range(min(fields.number(4 if version == 2 else 2), _MOST_ITEMS)):
        number = fields.number(4 if version == 2 else 2)
        method = fields.number(2) & 15 if version else 0
        fields.number(2)
        base = fields.number(base_size)
        extents = []
        for _ in range(min(fields.number(2), _MOST_ITEMS)):
            fields.number(index_size)
            extents.append((base + fields.number(offset_size), fields.number(length_size)))
        items[number] = _Item(kinds.get(number, b""), method == 1, tuple(extents))
    return items


def _properties(meta: bytes, box: Box, item: int) -> list[tuple[bytes, bytes]]:
    """Return the kind and content of the properties of an item, in the order in which they are applied."""
    store = BytesIO(meta)
    pool = [(b.kind, meta[b.start : b.end]) for b in boxes(store, *find(store, box.start, box.end, b"ipco")[1:])]
    found = []
    for table in (b for b in boxes(store, box.start, box.end) if b.kind == b"ipma"):
        fields = _Fields(meta, table.start)
        version, flags = fields.number(1), fields.number(3)
        for _ in range(min(fields.number(4), _MOST_ITEMS)):
            owner = fields.number(2 if version == 0 else 4)
            places = [fields.number(2) & 0x7FFF if flags & 1 else fields.number(1) & 0x7F for _ in range(fields.number(1))]
            if owner == item:
                found += [pool[place - 1] for place in places if 0 < place <= len(pool)]
    return found + [entry for entry in pool if entry[0] == b"hvcC"]


def _size(properties: list[tuple[bytes, bytes]]) -> tuple[int, int]:
    """Return width and height after cutting and turning, both of which decoders do."""
    width = height = 0
    for kind, body in properties:
        if kind == b"ispe":
            width, height = struct.unpack_from(">II", body, 4)
        elif kind == b"clap":
            top = struct.unpack_from(">4I", body)
            width, height = top[0] // top[1], top[2] // top[3]
        elif kind == b"irot" and body[0] & 1:
            width, height = height, width
    return width, height


def _depth(properties: list[tuple[bytes, bytes]]) -> int:
    for kind, body in properties:
        if kind == b"pixi":
            return max(body[5 : 5 + body[4]])
    return next((8 + (body[17] & 7) for kind, body in properties if kind == b"hvcC"), 8)


def _exif(file: BinaryIO, meta: bytes, items: dict[int, _Item], idat: int) -> bytes:
    """Return the Exif block from its byte order mark on; empty where there is none."""
    item = next((item for item in items.values() if item.kind == b"Exif"), None)
    if item is None:
        return b""
    data = b""
    for start, length in item.extents:
        if item.in_header:
            data += meta[idat + start : idat + start + min(length, _LONGEST)]
        else:
            file.seek(start)
            data += file.read(min(length, _LONGEST))
    skip = int.from_bytes(data[:4], "big")
    return data[4 + skip :] if skip < len(data) else b""


def heif_facts(file: BinaryIO) -> HeifFacts:
    """Return what the header of an open HEIC says; ValueError, LookupError or struct.error where it is damaged."""
    end = file.seek(0, 2)
    meta = content(file, find(file, 0, end, b"meta"), _LONGEST)
    top = {box.kind: box for box in boxes(BytesIO(meta), 4, len(meta))}
    items = _items(meta, top[b"iloc"], _kinds(meta, top[b"iinf"]))
    primary = _Fields(meta, top[b"pitm"].start + 4).number(2 if meta[top[b"pitm"].start] == 0 else 4)
    properties = _properties(meta, top[b"iprp"], primary)
    colour = [body for kind, body in properties if kind == b"colr"]
    icc = next((body[4:] for body in colour if body[:4] in (b"prof", b"rICC")), b"")
    nclx = next((struct.unpack_from(">HH", body, 4) for body in colour if body[:4] == b"nclx"), None)
    coded = [extent for item in items.values() if item.kind == b"hvc1" and not item.in_header for extent in item.extents]
    exif = _exif(file, meta, items, top[b"idat"].start if b"idat" in top else len(meta))
    return HeifFacts(*_size(properties), _depth(properties), icc, nclx, exif, tuple(coded))


def decode_heif(data: bytes) -> NDArray[np.uint8] | NDArray[np.uint16]:
    """Return the upright (h, w, 3) RGB codes of a HEIC, 16 bits where it has more than 8, full scale at the top code.

    Raises what pillow-heif raises: ValueError, OSError, RuntimeError, SyntaxError, EOFError.
    """
    still = pillow_heif.open_heif(BytesIO(data), convert_hdr_to_8bit=False)
    pixels = np.asarray(still)
    rgb = np.repeat(pixels[..., None], 3, axis=2) if pixels.ndim == 2 else pixels[..., :3]
    if rgb.dtype == np.uint16:  # they come as 10 or 12 bits shifted up
        rgb = rgb | rgb >> int(still.info.get("bit_depth") or 10)
    return np.ascontiguousarray(rgb)
