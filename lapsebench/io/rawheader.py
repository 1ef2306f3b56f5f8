"""The headers of RAW files: where each container keeps its tags, and what LibRaw says of the picture.

TIFF-like files are read as one; CR3 keeps directories in boxes, RAF in the JPEG that it carries, MRW in a block of its own.
Of what holds no tags, such as CRW, LibRaw tells exposure and time.
"""

from __future__ import annotations

import struct
from io import BytesIO
from pathlib import Path
from typing import BinaryIO, NamedTuple

import rawpy

from lapsebench.errors import FrameError
from lapsebench.io.directories import DAMAGED, Directories
from lapsebench.io.exif import tags_of
from lapsebench.io.header import layout_of
from lapsebench.io.isobmff import boxes, content, find
from lapsebench.io.layout import COPY_AGAIN, DEVELOP, MAX_PIXELS
from lapsebench.io.tags import Facts, Tags, facts_of, facts_of_values

_TIFF_LIKE = frozenset({b"II*\0", b"MM\0*", b"IIU\0", b"IIRO", b"IIRS", b"MMOR"})
_CR3_UUID = bytes.fromhex("85c0b687820f11e08111f4ce462b6a48")
_MOST = 1_000_000  # bytes of a block of tags
_USUAL_BITS = 14
_PANASONIC, _PANASONIC_ISO = b"IIU\0", (0x0017, 0x0037)


class RawHeader(NamedTuple):
    """What a RAW file says of itself: facts, size in pixels as shown, Exif orientation and bits a sample."""

    facts: Facts
    width: int
    height: int
    orientation: int
    bit_depth: int


def orientation_of(flip: int) -> int:
    """Return LibRaw's turn 0..7 as Exif numbers it (tag 0x0112)."""
    return (1, 2, 4, 3, 5, 8, 6, 7)[flip & 7]


def _cr3_blocks(file: BinaryIO, length: int) -> list[bytes]:
    movie = find(file, 0, length, b"moov")
    for box in boxes(file, movie.start, movie.end):
        file.seek(box.start)
        if box.kind == b"uuid" and file.read(16) == _CR3_UUID:
            inner = list(boxes(file, box.start + 16, box.end))
            return [content(file, block, _MOST) for block in inner if block.kind in (b"CMT1", b"CMT2")]
    return []


def _raf_blocks(file: BinaryIO) -> list[bytes]:
    file.seek(84)
    start, length = struct.unpack(">II", file.read(8))
    file.seek(start)
    return [layout_of(BytesIO(file.read(min(length, _MOST))), "preview.jpg").exif]


def _mrw_blocks(file: BinaryIO) -> list[bytes]:
    file.seek(4)
    (end,) = struct.unpack(">I", file.read(4))
    while file.tell() < min(end + 8, _MOST):
        name, length = struct.unpack(">4sI", file.read(8))
        if name == b"\0TTW":
            return [file.read(min(length, _MOST))]
        file.seek(length, 1)
    return []


def tag_sources(file: BinaryIO) -> list[BinaryIO]:
    """Return what holds the tags of an open RAW file: the file itself, blocks in it, or nothing."""
    length = file.seek(0, 2)
    file.seek(0)
    magic = file.read(16)
    try:
        if magic[:4] in _TIFF_LIKE:
            return [file]
        if magic[4:12] == b"ftypcrx ":
            return [BytesIO(block) for block in _cr3_blocks(file, length)]
        if magic.startswith(b"FUJIFILMCCD-RAW"):
            return [BytesIO(block) for block in _raf_blocks(file)]
        if magic.startswith(b"\0MRM"):
            return [BytesIO(block) for block in _mrw_blocks(file)]
    except (*DAMAGED, FrameError):
        return []
    return []


def _bits(source: BinaryIO) -> int:
    """Return the most bits a sample of any picture in a TIFF-like file: previews have 8, the RAW picture more."""
    source.seek(0)
    try:
        block = Directories(source)
        main = block.read(block.first)
        inner = [block.read(place) for place in block.numbers(main, 0x014A)[:8] if place]
        bits = [n for entries in (main, *inner, *block.rest()) for n in block.numbers(entries, 0x0102)]
        return next((n for n in sorted(bits, reverse=True) if 8 < n <= 16), _USUAL_BITS)
    except DAMAGED:
        return _USUAL_BITS


def _libraw_facts(raw: rawpy.RawPy) -> Facts:
    """Return what LibRaw says of exposure and time; it decodes the picture for that."""
    said = raw.other
    setting = {"exposure_s": said.shutter_speed, "f_number": said.aperture, "iso": said.iso_speed}
    return facts_of_values(said.timestamp, raw.lens.model, **setting, focal_mm=said.focal_length)


def _read(path: Path, facts: Facts, bits: int) -> RawHeader:
    with rawpy.RawPy() as raw:
        raw.open_file(str(path))
        sizes = raw.sizes
        if (facts.exposure_s, facts.taken) == (None, None):
            known = {name: value for name, value in facts._asdict().items() if value is not None}
            facts = _libraw_facts(raw)._replace(**known)
    width, height = (sizes.height, sizes.width) if sizes.flip & 4 else (sizes.width, sizes.height)
    if not 0 < width * height <= MAX_PIXELS:
        raise FrameError(f"{path.name} claims {width} x {height} pixels, which can't be true.", COPY_AGAIN)
    return RawHeader(facts, width, height, orientation_of(sizes.flip), bits)


def _tags(file: BinaryIO, sources: list[BinaryIO]) -> Tags:
    tags = {tag: value for source in sources for tag, value in tags_of(source).items()}
    file.seek(0)
    if file.read(4) == _PANASONIC:
        tags[0x8827] = next((tags[tag] for tag in (0x8827, *_PANASONIC_ISO) if tag in tags), None)
    return tags


def read_raw_header(path: Path) -> RawHeader:
    """Return what the header of a RAW file says; FrameError where LibRaw can't open it, OSError where it is out of reach."""
    with path.open("rb") as file:
        if not file.read(64).strip(b"\0"):
            words = "is filled with zeros: nothing of the picture was written" if file.seek(0, 2) else "is empty"
            raise FrameError(f"{path.name} {words}.", COPY_AGAIN)
        sources = tag_sources(file)
        facts = facts_of(_tags(file, sources))
        bits = _bits(file) if sources and sources[0] is file else _USUAL_BITS
    try:
        return _read(path, facts, bits)
    except rawpy.LibRawFileUnsupportedError as error:
        raise FrameError(f"{path.name} is a RAW file of a kind that is not read, or it is damaged.", DEVELOP) from error
    except rawpy.LibRawError as error:
        raise FrameError(f"{path.name} is a damaged RAW file.", COPY_AGAIN) from error
