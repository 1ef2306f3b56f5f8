"""Decodes a still: what its header says of it, its codes turned upright, and the linear light they stand for."""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from functools import partial
from io import BytesIO
from pathlib import Path
from typing import Any, BinaryIO, Literal, NamedTuple

import cv2
import imageio.v3 as iio
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from lapsebench.errors import FrameError
from lapsebench.io.icc import DCF_OPTION, SRGB, ColourProfile, light_table, parse_profile

Format = Literal["JPEG", "PNG", "TIFF"]
Codes = NDArray[np.uint8] | NDArray[np.uint16]

PICTURE_SUFFIXES = frozenset({".jpg", ".jpeg", ".jpe", ".png", ".tif", ".tiff"})
MAX_PIXELS = 400_000_000
"""Larger than any camera's frame; a header that claims more is a trap or an accident."""

Image.MAX_IMAGE_PIXELS = MAX_PIXELS  # its own limit would warn of, or refuse, whole frames of large cameras
cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)  # we say ourselves what is wrong with a file

_EXPORT = "Export it again as JPEG, PNG or TIFF with 8 or 16 bits, or leave it out."
_COPY_AGAIN = "Copy it again from the memory card, or leave it out."
_DEPTHS: dict[Format, tuple[int, ...]] = {"JPEG": (8,), "PNG": (1, 2, 4, 8, 16), "TIFF": (1, 4, 8, 16)}
_REDUCED = ((8, cv2.IMREAD_REDUCED_COLOR_8), (4, cv2.IMREAD_REDUCED_COLOR_4), (2, cv2.IMREAD_REDUCED_COLOR_2))
_FULL = cv2.IMREAD_COLOR | cv2.IMREAD_ANYDEPTH
_FRAME_MARKERS = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_PROGRESSIVE = frozenset({0xC2, 0xC6, 0xCA, 0xCE})
_KINDS = {1: "B", 2: "B", 3: "H", 4: "I", 7: "B", 16: "Q"}  # kinds of TIFF numbers and bytes, as struct names them
_LONGEST = 16_000_000  # bytes of one header entry: a colour profile is far shorter
_DAMAGED = (struct.error, zlib.error, ValueError, LookupError, ArithmeticError)
_DECODER_ERRORS = (*_DAMAGED, OSError, SyntaxError, TypeError, AttributeError, EOFError, MemoryError, cv2.error)


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


@dataclass(frozen=True, slots=True)
class Picture:
    """A decoded still: `codes` (h, w, 3) RGB, uint8 or uint16, upright; `profile` says what they mean."""

    codes: Codes
    profile: ColourProfile


class _Entry(NamedTuple):
    kind: int
    raw: bytes
    at: int


class _Directories:
    """The tag directories of a TIFF file or an Exif block (TIFF 6.0 section 2; the 64-bit variant too)."""

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        head = file.read(16)
        self._order = {b"II": "<", b"MM": ">"}[head[:2]]
        self._big = self._unpack("H", head[2:4])[0] == 43
        self.first: int = self._unpack("Q", head[8:16])[0] if self._big else self._unpack("I", head[4:8])[0]

    def _unpack(self, form: str, data: bytes) -> tuple[Any, ...]:
        return struct.unpack(self._order + form, data)

    def read(self, offset: int) -> dict[int, _Entry]:
        """Return the entries of the directory at `offset`, kinds other than whole numbers and bytes left out."""
        count_form, entry_form, inline = ("Q", "HHQ8s", 8) if self._big else ("H", "HHI4s", 4)
        self._file.seek(offset)
        (count,) = self._unpack(count_form, self._file.read(struct.calcsize("<" + count_form)))
        size = struct.calcsize("<" + entry_form)
        table = self._file.read(size * min(count, 1000))
        entries = {}
        for start in range(0, len(table) - size + 1, size):
            tag, kind, number, value = self._unpack(entry_form, table[start : start + size])
            length = number * (struct.calcsize("<" + _KINDS[kind]) if kind in _KINDS else 0)
            if not 0 < length <= _LONGEST:
                continue
            at = offset + struct.calcsize("<" + count_form) + start + size - inline
            if length > inline:
                at = self._unpack("Q" if self._big else "I", value)[0]
                self._file.seek(at)
                value = self._file.read(length)
            entries[tag] = _Entry(kind, value[:length], at)
        return entries

    def numbers(self, entries: dict[int, _Entry], tag: int, default: int = 0) -> tuple[int, ...]:
        """Return the whole numbers of a tag, (default,) where it isn't there."""
        if tag not in entries:
            return (default,)
        form, raw = _KINDS[entries[tag].kind], entries[tag].raw
        return self._unpack(f"{len(raw) // struct.calcsize('<' + form)}{form}", raw) or (default,)

    def number(self, entries: dict[int, _Entry], tag: int, default: int = 0) -> int:
        """Return the first whole number of a tag."""
        return self.numbers(entries, tag, default)[0]


def _upright_code(value: int) -> int:
    return value if 1 <= value <= 8 else 1


def _exif_facts(exif: bytes) -> tuple[int, bool]:
    """Return the orientation 1..8 and whether the Exif block names the option colour space (index R03)."""
    orientation = 1
    try:
        block = _Directories(BytesIO(exif))
        main = block.read(block.first)
        orientation = _upright_code(block.number(main, 0x0112, 1))
        detail = block.read(pointer) if (pointer := block.number(main, 0x8769)) else {}
        interop = block.read(pointer) if (pointer := block.number(detail, 0xA005)) else {}
        return orientation, 1 in interop and interop[1].raw.startswith(b"R03")
    except _DAMAGED:
        return orientation, False  # a broken block says nothing more; the picture itself may be sound


def _with_exif(exif: bytes, layout: partial[Layout]) -> Layout:
    orientation, option_space = _exif_facts(exif) if exif else (1, False)
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
    block = _Directories(file)
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
        orientation=_upright_code(number(0x0112, 1)),
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
        raise FrameError(f"{name} is empty.", _COPY_AGAIN)
    raise FrameError(f"{name} is not a picture in spite of its name.", _EXPORT)


def layout_of(file: BinaryIO, name: str) -> Layout:
    """Return what the header of an open file says; FrameError where it is no picture or one that can't be used."""
    if Path(name).suffix.lower() not in PICTURE_SUFFIXES:
        raise FrameError(f"{name} is of a kind that is not read.", _EXPORT)
    try:
        layout = _parse(file, name)
    except _DAMAGED as error:
        raise FrameError(f"{name} has a damaged header.", _COPY_AGAIN) from error
    if layout.width < 1 or layout.height < 1:
        raise FrameError(f"{name} names no size.", _COPY_AGAIN)
    if layout.width * layout.height > MAX_PIXELS:
        raise FrameError(f"{name} claims {layout.width} x {layout.height} pixels, too many to be true.", _EXPORT)
    if layout.refusal:
        raise FrameError(f"{name} {layout.refusal}, which is not read.", _EXPORT)
    if layout.bit_depth not in _DEPTHS[layout.format]:
        raise FrameError(f"{name} has {layout.bit_depth} bits a channel, which is not read.", _EXPORT)
    return layout


def no_access(name: str, error: OSError) -> FrameError:
    """Return the words for a file that the system won't hand over."""
    if isinstance(error, PermissionError):
        return FrameError(f"{name} may not be read: permission denied.", "Ask for the right to read it.")
    if isinstance(error, FileNotFoundError):
        return FrameError(f"{name} is not there.", "Is the drive or memory card still connected?")
    return FrameError(f"{name} can't be read: {error.strerror or error}.", _COPY_AGAIN)


def read_header(path: Path) -> Header:
    """Return size as shown, depth and format, without decoding; FrameError where the picture can't be used."""
    try:
        with path.open("rb") as file:
            return layout_of(file, path.name).header
    except OSError as error:
        raise no_access(path.name, error) from error


def _missing_share(data: bytes, layout: Layout) -> float:
    """Return the share 0..1 of a JPEG's rows that a decoder has to leave flat grey; 0 where it can't be told."""
    if layout.progressive:
        return 0.0
    try:
        with Image.open(BytesIO(data + b"\xff\xd9"), formats=("JPEG",)) as image:
            image.draft("RGB", (layout.width // 8, layout.height // 8))
            grey = (np.asarray(image.convert("RGB")) == 128).all(axis=(1, 2))[::-1]
    except _DECODER_ERRORS:
        return 0.0
    return float(np.argmin(grey) / grey.size) if not grey.all() else 1.0


def _check_whole(data: bytes, layout: Layout, name: str) -> None:
    """Raise FrameError where the end of the coded picture is missing; bytes after the end do no harm."""
    end = {"JPEG": b"\xff\xd9", "PNG": b"IEND"}.get(layout.format)
    if end is None or data.rfind(end, layout.scan) >= 0:
        return
    share = round(100 * _missing_share(data, layout)) if layout.format == "JPEG" else 0
    detail = f"ends early: {share} % of the picture is missing" if share else "ends early: the file is cut short"
    raise FrameError(f"{name} {detail}.", _COPY_AGAIN)


def _flags(layout: Layout, min_long_side: int | None) -> int:
    """Return the decoder's flags for the strongest reduction whose long side is still `min_long_side` or more."""
    if layout.format == "JPEG" and min_long_side is not None:
        long_side = max(layout.width, layout.height)
        for factor, flag in _REDUCED:
            if -(-long_side // factor) >= min_long_side:
                return flag
    return _FULL


def _fallback(data: bytes, layout: Layout) -> NDArray[Any]:
    """Decode by way of imageio, whatever the number of channels, to three."""
    mode = "RGBA" if layout.channels == 4 else "RGB"
    codes = iio.imread(data, plugin="pillow", index=0, mode=mode if layout.bit_depth <= 8 else None)
    if codes.ndim == 2:
        codes = np.repeat(codes[..., None], 3, axis=2)
    return np.ascontiguousarray(codes[..., :3])


def _as_codes(pixels: NDArray[Any], name: str) -> Codes:
    """Return the pixels if they are (h, w, 3) of 8 or 16 bits; FrameError else."""
    if pixels.ndim != 3 or pixels.shape[2] != 3 or pixels.dtype not in (np.uint8, np.uint16):
        raise FrameError(f"{name} is of a depth that is not read ({pixels.dtype}).", _EXPORT)
    return pixels


def _decode(data: bytes, layout: Layout, min_long_side: int | None, name: str) -> Codes:
    premultiplied = layout.format == "TIFF" and layout.channels > 3 and layout.bit_depth <= 8  # cv2 darkens by the alpha
    try:
        if not premultiplied:
            raw = np.frombuffer(data, np.uint8)
            bgr = cv2.imdecode(raw, _flags(layout, min_long_side) | cv2.IMREAD_IGNORE_ORIENTATION)
            if bgr is not None:
                return _as_codes(cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB), name)
        return _as_codes(_fallback(data, layout), name)
    except _DECODER_ERRORS as error:
        raise FrameError(f"{name} is damaged and can't be decoded.", _COPY_AGAIN) from error


def _turn(codes: Codes, orientation: int) -> Codes:
    """Return the picture upright (Exif tag 0x0112, CIPA DC-008 4.6.4)."""
    turned: NDArray[Any] = cv2.transpose(codes) if orientation >= 5 else codes
    flip = {2: 1, 3: -1, 4: 0, 6: 1, 7: -1, 8: 0}.get(orientation)
    return turned if flip is None else _as_codes(cv2.flip(turned, flip), "")


def _stored_upright(data: bytes, layout: Layout) -> bytes:
    """Return the bytes with a TIFF's orientation set to 1: its decoders turn by themselves, and not all in one way."""
    if layout.orientation == 1 or not layout.orientation_at:
        return data
    order = "<H" if data.startswith(b"II") else ">H"
    changed = bytearray(data)
    struct.pack_into(order, changed, layout.orientation_at, 1)
    return bytes(changed)


def read_picture(path: Path, *, min_long_side: int | None = None) -> Picture:
    """Decode a JPEG, PNG or TIFF still to upright RGB codes.

    `min_long_side` (pixels) lets a JPEG be decoded at 1/2, 1/4 or 1/8 size, never below that length; nothing is enlarged.
    Raises FrameError, with the reason in words, where the still is missing, damaged, cut short or of a kind not read.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise no_access(path.name, error) from error
    layout = layout_of(BytesIO(data), path.name)
    _check_whole(data, layout, path.name)
    codes = _decode(_stored_upright(data, layout), layout, min_long_side, path.name)
    return Picture(_turn(codes, layout.orientation), layout.profile)


def to_linear(picture: Picture) -> NDArray[np.float32]:
    """Return linear light with BT.709 primaries, (h, w, 3), 1 = white; wider colours reach below 0 and above 1."""
    codes, profile = picture.codes, picture.profile
    linear: NDArray[np.float32]
    if codes.dtype == np.uint8:
        linear = cv2.LUT(codes, light_table(profile, 256)[None]).astype(np.float32, copy=False)
    else:
        table = light_table(profile, 65536)
        linear = np.empty(codes.shape, np.float32)
        for channel in range(3):
            linear[..., channel] = table[:, channel][codes[..., channel]]
    if profile.matrix is not None:
        return cv2.transform(linear, np.array(profile.matrix, np.float32)).astype(np.float32, copy=False)
    return linear
