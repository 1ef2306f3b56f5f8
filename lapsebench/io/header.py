"""Reads the header of a JPEG, PNG, TIFF or HEIC file; and says why a file can't be used."""

from __future__ import annotations

import struct
import zlib
from functools import partial
from pathlib import Path
from typing import BinaryIO

from lapsebench.errors import FrameError
from lapsebench.io.directories import DAMAGED, Directories, Entry, exif_facts, upright_code
from lapsebench.io.heif import heif_facts, is_heif
from lapsebench.io.kinds import PICTURE_SUFFIXES, is_raw
from lapsebench.io.layout import COPY_AGAIN, EXPORT, MAX_PIXELS, Format, Layout, Scan

_DEPTHS: dict[Format, tuple[int, ...]] = {
    "JPEG": (8,),
    "PNG": (1, 2, 4, 8, 16),
    "TIFF": (1, 4, 8, 16),
    "HEIF": (8, 10, 12),
}
_PACKED = frozenset({5, 8, 32773, 32946})  # LZW, Deflate by two numbers, PackBits
_FRAME_MARKERS = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_PROGRESSIVE = frozenset({0xC2, 0xC6, 0xCA, 0xCE})


def _with_exif(exif: bytes, layout: partial[Layout]) -> Layout:
    orientation, option_space = exif_facts(exif) if exif else (1, False)
    return layout(exif=exif, orientation=orientation, option_space=option_space)


def _next_marker(file: BinaryIO) -> int:
    for _ in range(65536):  # stray bytes between segments are skipped, as decoders do
        if (byte := file.read(1)) == b"\xff":
            while (code := file.read(1)) == b"\xff":
                continue
            if code not in (b"", b"\x00"):
                return code[0]
        if not byte:
            break
    raise ValueError("no marker")


def _scan(start: int, marker: int, frame: bytes, restart: int, channels: int) -> Scan:
    """Return how the picture is coded: `frame` header, `restart` interval in coding units, `channels` in the first scan."""
    sampling = [(part >> 4, part & 15) for part in frame[7 : 6 + 3 * frame[5] : 3]]
    if marker in _PROGRESSIVE or channels != frame[5] or not sampling or min(map(min, sampling)) < 1:
        return Scan(start, progressive=marker in _PROGRESSIVE)
    height, width = struct.unpack_from(">HH", frame, 1)
    across, down = (1, 1) if channels == 1 else (max(x for x, _ in sampling), max(y for _, y in sampling))
    units = -(-width // (8 * across)) * -(-height // (8 * down))
    blocks = units * (1 if channels == 1 else sum(x * y for x, y in sampling))
    return Scan(start, blocks, -(-units // restart) if restart else 0)


def _jpeg(file: BinaryIO) -> Layout:
    """Walk the segments up to the first scan (ITU-T T.81 Annex B); ValueError where they lead nowhere."""
    file.seek(2)
    exif, chunks, frame, kind, restart = b"", {}, b"", 0, 0
    while True:
        marker = _next_marker(file)
        if marker in (0x01, *range(0xD0, 0xD9)):
            continue
        (length,) = struct.unpack(">H", file.read(2))
        body = file.read(length - 2) if length > 2 else b""
        if marker == 0xDA:
            break
        if marker in _FRAME_MARKERS:
            frame, kind = body, marker
        elif marker == 0xDD:
            (restart,) = struct.unpack_from(">H", body)
        elif marker == 0xE1 and body.startswith(b"Exif\0") and not exif:
            exif = body[6:]
        elif marker == 0xE2 and body.startswith(b"ICC_PROFILE\0"):
            chunks[body[12]] = body[14:]
    if not frame:
        raise ValueError("no frame header")
    depth, height, width, channels = struct.unpack_from(">BHHB", frame)
    refusal = "has four inks (CMYK)" if channels == 4 else ""
    icc = b"".join(chunks[key] for key in sorted(chunks))
    scan = _scan(file.tell(), kind, frame, restart, body[0])
    return _with_exif(exif, partial(Layout, "JPEG", width, height, depth, channels, icc=icc, scan=scan, refusal=refusal))


def _png(file: BinaryIO) -> Layout:
    """Walk the chunks up to the picture data (PNG specification, third edition, section 5)."""
    file.seek(8)
    size: tuple[int, ...] = ()
    icc = exif = b""
    while True:
        length, name = struct.unpack(">I4s", file.read(8))
        if name in (b"IDAT", b"IEND"):
            break
        if name not in (b"IHDR", b"iCCP", b"eXIf"):
            file.seek(length + 4, 1)
            continue
        body = file.read(length + 4)[:-4]
        if name == b"IHDR":
            size = struct.unpack_from(">IIBB", body)
        elif name == b"eXIf":
            exif = body.removeprefix(b"Exif\0\0")
        else:
            icc = zlib.decompressobj().decompress(body[body.index(0) + 2 :], 16_000_000)
    width, height, depth, kind = size
    channels = {0: 1, 2: 3, 3: 3, 4: 2, 6: 4}[kind]
    return _with_exif(exif, partial(Layout, "PNG", width, height, depth, channels, icc=icc))


def _tiff(file: BinaryIO) -> Layout:
    block = Directories(file)
    main = block.read(block.first)
    number = partial(block.number, main)
    refusal = ""
    if number(0x0153, 1) not in (1, 4):
        refusal = "holds floating-point or signed numbers"
    elif number(0x0106) > 3 and number(0x0106) != 6:
        refusal = "has four inks (CMYK) or another colour model than RGB"
    return Layout(
        "TIFF",
        number(0x0100),
        number(0x0101),
        max(block.numbers(main, 0x0102, 1)),
        number(0x0115, 1),
        orientation=upright_code(number(0x0112, 1)),
        orientation_at=main[0x0112].at if 0x0112 in main else 0,
        icc=main[0x8773].raw if 0x8773 in main else b"",
        pieces=_tiff_pieces(block, main),
        packed=number(0x0103, 1) in _PACKED,
        refusal=refusal,
    )


def _tiff_pieces(block: Directories, main: dict[int, Entry]) -> tuple[tuple[int, int], ...]:
    """Return the places of the strips or tiles; none where the file does not say how long they are."""
    starts, lengths = (0x0144, 0x0145) if 0x0144 in main else (0x0111, 0x0117)
    if starts not in main or lengths not in main:
        return ()
    return tuple(zip(block.numbers(main, starts), block.numbers(main, lengths), strict=False))


def _heif(file: BinaryIO) -> Layout:
    facts = heif_facts(file)
    layout = partial(Layout, "HEIF", facts.width, facts.height, facts.bit_depth, 3, icc=facts.icc, exif=facts.exif)
    return layout(nclx=facts.nclx, pieces=facts.pieces)


def _parse(file: BinaryIO, name: str) -> Layout:
    magic = file.read(16)
    file.seek(0)
    if magic.startswith(b"\xff\xd8\xff"):
        return _jpeg(file)
    if magic[:8] == b"\x89PNG\r\n\x1a\n":
        return _png(file)
    if magic[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return _tiff(file)
    if is_heif(magic):
        return _heif(file)
    if magic and not magic.strip(b"\0"):
        raise FrameError(f"{name} is filled with zeros: nothing of the picture was written.", COPY_AGAIN)
    if not magic:
        raise FrameError(f"{name} is empty.", COPY_AGAIN)
    raise FrameError(f"{name} is not a picture in spite of its name.", EXPORT)


def layout_of(file: BinaryIO, name: str) -> Layout:
    """Return what the header of an open file says; FrameError where it is no picture or one that can't be used."""
    if Path(name).suffix.lower() not in PICTURE_SUFFIXES:
        raise FrameError(f"{name} is of a kind that is not read.", EXPORT)
    if is_raw(Path(name)):
        raise FrameError(f"{name} is a RAW file and not a finished picture.", "Develop it, or leave it out.")
    try:
        layout = _parse(file, name)
    except DAMAGED as error:
        raise FrameError(f"{name} has a damaged header.", COPY_AGAIN) from error
    if layout.width < 1 or layout.height < 1:
        raise FrameError(f"{name} names no size.", COPY_AGAIN)
    if layout.width * layout.height > MAX_PIXELS:
        raise FrameError(f"{name} claims {layout.width} x {layout.height} pixels, too many to be true.", EXPORT)
    if layout.refusal:
        raise FrameError(f"{name} {layout.refusal}, which is not read.", EXPORT)
    if layout.bit_depth not in _DEPTHS[layout.format]:
        raise FrameError(f"{name} has {layout.bit_depth} bits a channel, which is not read.", EXPORT)
    return layout
