"""What the header of a JPEG, PNG or TIFF file says of the picture, before it is decoded; and why one can't be used."""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import BinaryIO, Literal, NamedTuple

from PIL import Image

from lapsebench.errors import FrameError
from lapsebench.io.directories import DAMAGED, Directories, exif_facts, upright_code
from lapsebench.io.icc import DCF_OPTION, SRGB, ColourProfile, parse_profile

Format = Literal["JPEG", "PNG", "TIFF"]

PICTURE_SUFFIXES = frozenset({".jpg", ".jpeg", ".jpe", ".png", ".tif", ".tiff"})
MAX_PIXELS = 400_000_000
"""Larger than any camera's frame; a header that claims more is a trap or an accident."""

Image.MAX_IMAGE_PIXELS = MAX_PIXELS  # its own limit would warn of, or refuse, whole frames of large cameras

EXPORT = "Export it again as JPEG, PNG or TIFF with 8 or 16 bits, or leave it out."
"""What to do with a picture of a kind that is not read."""
COPY_AGAIN = "Copy it again from the memory card, or leave it out."
"""What to do with a damaged picture."""

_DEPTHS: dict[Format, tuple[int, ...]] = {"JPEG": (8,), "PNG": (1, 2, 4, 8, 16), "TIFF": (1, 4, 8, 16)}
_FRAME_MARKERS = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_PROGRESSIVE = frozenset({0xC2, 0xC6, 0xCA, 0xCE})


class Header(NamedTuple):
    """Size in pixels as shown, bits a channel, and the file format."""

    width: int
    height: int
    bit_depth: int
    format: Format


@dataclass(frozen=True, slots=True)
class Layout:
    """What a picture file says of itself before it is decoded; `width` and `height` as stored, not as shown.

    `exif` is the Exif block from its byte order mark on (JPEG and PNG); `scan` is where the coded picture starts;
    `orientation_at` is the place of a TIFF's orientation in the file.
    """

    format: Format
    width: int
    height: int
    bit_depth: int
    channels: int
    orientation: int = 1
    icc: bytes = b""
    exif: bytes = b""
    scan: int = 0
    orientation_at: int = 0
    option_space: bool = False
    progressive: bool = False
    refusal: str = ""

    @property
    def header(self) -> Header:
        """Size as shown, depth and format."""
        size = (self.height, self.width) if self.orientation >= 5 else (self.width, self.height)
        return Header(*size, self.bit_depth, self.format)

    @property
    def profile(self) -> ColourProfile:
        """The embedded profile; without one the camera's colour space mark, else sRGB."""
        if self.icc:
            return parse_profile(self.icc)
        return DCF_OPTION if self.option_space else SRGB


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


def _jpeg(file: BinaryIO) -> Layout:
    """Walk the segments up to the first scan (ITU-T T.81 Annex B); ValueError where they lead nowhere."""
    file.seek(2)
    exif, chunks, frame, progressive = b"", {}, None, False
    while (marker := _next_marker(file)) != 0xDA:
        if marker in (0x01, *range(0xD0, 0xD9)):
            continue
        (length,) = struct.unpack(">H", file.read(2))
        body = file.read(length - 2) if length > 2 else b""
        if marker in _FRAME_MARKERS:
            frame, progressive = struct.unpack_from(">BHHB", body), marker in _PROGRESSIVE
        elif marker == 0xE1 and body.startswith(b"Exif\0") and not exif:
            exif = body[6:]
        elif marker == 0xE2 and body.startswith(b"ICC_PROFILE\0"):
            chunks[body[12]] = body[14:]
    if frame is None:
        raise ValueError("no frame header")
    depth, height, width, channels = frame
    refusal = "has four inks (CMYK)" if channels == 4 else ""
    icc = b"".join(chunks[key] for key in sorted(chunks))
    facts = partial(Layout, "JPEG", width, height, depth, channels, icc=icc, scan=file.tell())
    return _with_exif(exif, partial(facts, progressive=progressive, refusal=refusal))


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
    return _with_exif(exif, partial(Layout, "PNG", width, height, depth, channels, icc=icc, scan=file.tell()))


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
        refusal=refusal,
    )


def _parse(file: BinaryIO, name: str) -> Layout:
    magic = file.read(8)
    file.seek(0)
    if magic.startswith(b"\xff\xd8\xff"):
        return _jpeg(file)
    if magic == b"\x89PNG\r\n\x1a\n":
        return _png(file)
    if magic[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return _tiff(file)
    if not magic:
        raise FrameError(f"{name} is empty.", COPY_AGAIN)
    raise FrameError(f"{name} is not a picture in spite of its name.", EXPORT)


def layout_of(file: BinaryIO, name: str) -> Layout:
    """Return what the header of an open file says; FrameError where it is no picture or one that can't be used."""
    if Path(name).suffix.lower() not in PICTURE_SUFFIXES:
        raise FrameError(f"{name} is of a kind that is not read.", EXPORT)
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


def no_access(name: str, error: OSError) -> FrameError:
    """Return the words for a file that the system won't hand over."""
    if isinstance(error, PermissionError):
        return FrameError(f"{name} may not be read: permission denied.", "Ask for the right to read it.")
    if isinstance(error, FileNotFoundError):
        return FrameError(f"{name} is not there.", "Is the drive or memory card still connected?")
    return FrameError(f"{name} can't be read: {error.strerror or error}.", COPY_AGAIN)
