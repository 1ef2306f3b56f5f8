"""Files of single film frames as bytes: TIFF, PNG and JPEG with sRGB codes, OpenEXR with half-float linear light."""

from __future__ import annotations

import struct
import zlib
from functools import lru_cache
from io import BytesIO
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

_EXR_ROWS = 16  # rows to a block of ZIP compression
_XY = (0.640, 0.330, 0.300, 0.600, 0.150, 0.060, 0.3127, 0.3290)  # BT.709 red, green, blue and D65


def tiff_bytes(codes: NDArray[np.uint16]) -> bytes:
    """Return a TIFF of sRGB codes (h, w, 3) with an sRGB profile: one strip, deflated, each code less its left neighbour.

    TIFF 6.0 (1992) sections 2, 14 and 8 (ICC profile: tag 34675 of ICC.1 annex B); Deflate is compression 8.
    """
    height, width, _ = codes.shape
    steps = codes.copy()
    steps[:, 1:] -= codes[:, :-1]
    profile, pixels = _srgb_profile(), zlib.compress(steps.astype("<u2").tobytes(), 4)
    depth_at = 8
    profile_at = depth_at + 6
    pixels_at = profile_at + len(profile) + len(profile) % 2
    directory_at = pixels_at + len(pixels) + len(pixels) % 2
    short, long, undefined = 3, 4, 7
    entries = [
        (256, long, 1, width),
        (257, long, 1, height),
        (258, short, 3, depth_at),
        (259, short, 1, 8),
        (262, short, 1, 2),
        (273, long, 1, pixels_at),
        (277, short, 1, 3),
        (278, long, 1, height),
        (279, long, 1, len(pixels)),
        (284, short, 1, 1),
        (317, short, 1, 2),
        (34675, undefined, len(profile), profile_at),
    ]
    directory = struct.pack("<H", len(entries)) + b"".join(struct.pack("<2H2I", *entry) for entry in entries) + bytes(4)
    head = struct.pack("<2sHI3H", b"II", 42, directory_at, 16, 16, 16)
    return head + _even(profile) + _even(pixels) + directory


def exr_bytes(light: NDArray[np.float16]) -> bytes:
    """Return an OpenEXR file of linear light (h, w, 3), BT.709 primaries, 1 = diffuse white: scan lines, ZIP, half floats.

    Layout: "OpenEXR File Layout", openexr.com, from memory; read back in the tests by other libraries.
    """
    height, width, _ = light.shape
    window = struct.pack("<4i", 0, 0, width - 1, height - 1)
    channels = b"".join(name + b"\0" + struct.pack("<iB3xii", 1, 0, 1, 1) for name in (b"B", b"G", b"R")) + b"\0"
    head = struct.pack("<2I", 20000630, 2)
    for name, kind, value in (
        (b"channels", b"chlist", channels),
        (b"chromaticities", b"chromaticities", struct.pack("<8f", *_XY)),
        (b"compression", b"compression", b"\3"),
        (b"dataWindow", b"box2i", window),
        (b"displayWindow", b"box2i", window),
        (b"lineOrder", b"lineOrder", b"\0"),
        (b"pixelAspectRatio", b"float", struct.pack("<f", 1)),
        (b"screenWindowCenter", b"v2f", struct.pack("<2f", 0, 0)),
        (b"screenWindowWidth", b"float", struct.pack("<f", 1)),
    ):
        head += name + b"\0" + kind + b"\0" + struct.pack("<I", len(value)) + value
    head += b"\0"
    rows = np.ascontiguousarray(light[..., ::-1].transpose(0, 2, 1)).astype("<f2")  # rows of B, then G, then R
    blocks = [struct.pack("<i", top) + _sized(_zipped(rows[top : top + _EXR_ROWS])) for top in range(0, height, _EXR_ROWS)]
    starts = np.cumsum([len(head) + 8 * len(blocks), *(len(block) for block in blocks[:-1])])
    return head + starts.astype("<u8").tobytes() + b"".join(blocks)


def png_bytes(codes: NDArray[np.uint16]) -> bytes:
    """Return a PNG of 16-bit sRGB codes (h, w, 3), with the chunk that says so (PNG, third edition, 11.3.2.5)."""
    rows = np.ascontiguousarray(codes, ">u2").view(np.uint8).reshape(codes.shape[0], -1)
    steps = rows.copy()
    steps[:, 6:] -= rows[:, :-6]  # filter 1: less the sample of the pixel at the left
    filtered = np.column_stack([np.ones(rows.shape[0], np.uint8), steps])
    header = struct.pack(">2I5B", codes.shape[1], codes.shape[0], 16, 2, 0, 0, 0)
    parts = (b"IHDR", header), (b"sRGB", b"\0"), (b"IDAT", zlib.compress(filtered.tobytes(), 6)), (b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data)) for kind, data in parts
    )


def jpeg_bytes(codes: NDArray[np.uint16]) -> bytes:
    """Return a JPEG of 16-bit sRGB codes (h, w, 3), rounded to 8 bits, of the best quality, with an sRGB profile."""
    store = BytesIO()
    rounded = np.rint(codes / 257).astype(np.uint8)
    Image.fromarray(rounded).save(store, "JPEG", quality=95, subsampling=0, icc_profile=_srgb_profile())
    return store.getvalue()


def _zipped(rows: NDArray[Any]) -> bytes:
    """Return a block as ZIP compression has it: low and high bytes apart, each less the one before it, deflated."""
    plain = rows.tobytes()
    data = np.frombuffer(plain, np.uint8)
    apart = np.concatenate([data[::2], data[1::2]])
    steps = apart.copy()
    steps[1:] -= apart[:-1]
    steps[1:] += 128
    packed = zlib.compress(steps.tobytes(), 4)
    return packed if len(packed) < len(plain) else plain


def _sized(data: bytes) -> bytes:
    return struct.pack("<i", len(data)) + data


def _even(data: bytes) -> bytes:
    return data + b"\0" * (len(data) % 2)


@lru_cache(maxsize=1)
def _srgb_profile() -> bytes:
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
