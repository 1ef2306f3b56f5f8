"""Decodes a still: its codes turned upright, and the linear light they stand for."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

import cv2
import imageio.v3 as iio
import numpy as np
from numpy.typing import NDArray

from lapsebench.errors import FrameError
from lapsebench.io.directories import DECODER_ERRORS
from lapsebench.io.header import layout_of
from lapsebench.io.heif import decode_heif
from lapsebench.io.icc import SRGB, ColourProfile, light_table
from lapsebench.io.layout import COPY_AGAIN, EXPORT, Layout, no_access
from lapsebench.io.whole import Codes, check_bytes, check_decoded

cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)  # we say ourselves what is wrong with a file

_REDUCED = ((8, cv2.IMREAD_REDUCED_COLOR_8), (4, cv2.IMREAD_REDUCED_COLOR_4), (2, cv2.IMREAD_REDUCED_COLOR_2))
_FULL = cv2.IMREAD_COLOR | cv2.IMREAD_ANYDEPTH


@dataclass(frozen=True, slots=True)
class Picture:
    """A decoded still: `codes` (h, w, 3) RGB, uint8 or uint16, upright; `profile` says what they mean."""

    codes: Codes
    profile: ColourProfile

    @property
    def is_srgb(self) -> bool:
        """Whether the codes are sRGB ones, of whatever depth."""
        return self.profile.matrix is None and self.profile.curves == SRGB.curves


def reduction(width: int, height: int, min_long_side: int) -> int:
    """Return cv2's flag for the strongest reduction of a JPEG whose long side is still `min_long_side` or more."""
    for factor, flag in _REDUCED:
        if -(-max(width, height) // factor) >= min_long_side:
            return flag
    return cv2.IMREAD_COLOR


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
        raise FrameError(f"{name} is of a depth that is not read ({pixels.dtype}).", EXPORT)
    return pixels


def _decode_heif(data: bytes, layout: Layout, name: str) -> Codes:
    try:
        codes = decode_heif(data)
    except DECODER_ERRORS as error:
        raise FrameError(f"{name} is damaged and can't be decoded.", COPY_AGAIN) from error
    if codes.shape != (layout.height, layout.width, 3):
        raise FrameError(f"{name} is not of the size its header says.", COPY_AGAIN)
    return _as_codes(codes, name)


def _decode(data: bytes, layout: Layout, min_long_side: int | None, name: str) -> Codes:
    if layout.format == "HEIF":
        return _decode_heif(data, layout, name)
    # cv2 darkens by the alpha, and passes over damage in what is packed.
    by_pillow = layout.format == "TIFF" and layout.bit_depth <= 8 and (layout.channels > 3 or layout.packed)
    try:
        if not by_pillow:
            raw = np.frombuffer(data, np.uint8)
            reduced = layout.format == "JPEG" and min_long_side is not None
            flags = reduction(layout.width, layout.height, min_long_side or 0) if reduced else _FULL
            bgr = cv2.imdecode(raw, flags | cv2.IMREAD_IGNORE_ORIENTATION)
            if bgr is not None:
                return _as_codes(cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB), name)
        return _as_codes(_fallback(data, layout), name)
    except (*DECODER_ERRORS, cv2.error) as error:
        raise FrameError(f"{name} is damaged and can't be decoded.", COPY_AGAIN) from error


def turned(codes: Codes, orientation: int) -> Codes:
    """Return the picture upright (Exif tag 0x0112, CIPA DC-008 4.6.4)."""
    upright: NDArray[Any] = cv2.transpose(codes) if orientation >= 5 else codes
    flip = {2: 1, 3: -1, 4: 0, 6: 1, 7: -1, 8: 0}.get(orientation)
    return upright if flip is None else _as_codes(cv2.flip(upright, flip), "")


def _stored_upright(data: bytes, layout: Layout) -> bytes:
    """Return the bytes with a TIFF's orientation set to 1: its decoders turn by themselves, and not all in one way."""
    if layout.orientation == 1 or not layout.orientation_at:
        return data
    order = "<H" if data.startswith(b"II") else ">H"
    changed = bytearray(data)
    struct.pack_into(order, changed, layout.orientation_at, 1)
    return bytes(changed)


def read_picture(path: Path, *, min_long_side: int | None = None) -> Picture:
    """Decode a JPEG, PNG, TIFF or HEIC still to upright RGB codes.

    `min_long_side` (pixels) lets a JPEG be decoded at 1/2, 1/4 or 1/8 size, never below that length; nothing is enlarged.
    Raises FrameError, with the reason in words, where the still is missing, damaged, cut short, RAW or of a kind not read.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise no_access(path.name, error) from error
    layout = layout_of(BytesIO(data), path.name)
    check_bytes(data, layout, path.name)
    codes = _decode(_stored_upright(data, layout), layout, min_long_side, path.name)
    check_decoded(data, layout, codes, path.name)
    return Picture(turned(codes, layout.orientation), layout.profile)


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
