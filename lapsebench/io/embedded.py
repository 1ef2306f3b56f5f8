"""The small picture that cameras put into their files, for a first look at thousands of frames before any is decoded."""

from __future__ import annotations

from contextlib import suppress
from io import BytesIO
from pathlib import Path
from typing import BinaryIO

import cv2
import numpy as np
import rawpy
from numpy.typing import NDArray

from lapsebench.core.transfer import linear_to_srgb
from lapsebench.errors import FrameError
from lapsebench.io.directories import DECODER_ERRORS, Directories, exif_facts
from lapsebench.io.header import layout_of
from lapsebench.io.icc import ColourProfile
from lapsebench.io.kinds import is_raw
from lapsebench.io.rawheader import orientation_of, tag_sources
from lapsebench.io.read import Picture, reduction, to_linear, turned

Look = NDArray[np.uint8]

_LONG_SIDE = 320  # pixels; larger previews are decoded reduced, but never below this
_SMALLEST = 16
_LONGEST = 1_000_000  # bytes


def _decoded(data: bytes, width: int = 0, height: int = 0) -> Look:
    """Return the (h, w, 3) RGB codes of a JPEG, reduced where its size is given."""
    flags = reduction(width, height, _LONG_SIDE) | cv2.IMREAD_IGNORE_ORIENTATION
    bgr = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    if bgr is None:
        raise ValueError("no picture")
    return np.asarray(cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB), np.uint8)


def _thumbnail(source: BinaryIO) -> Look:
    """Return the thumbnail in the second directory of an Exif block or TIFF-like file (CIPA DC-008 4.5.5).

    Raises LookupError where there is none, and what reading a damaged one may raise.
    """
    source.seek(0)
    block = Directories(source)
    second = block.rest()[0]
    start, length = block.number(second, 0x0201), block.number(second, 0x0202)
    if not start or not 0 < length < _LONGEST:
        raise LookupError("no thumbnail")
    source.seek(start)
    return _decoded(source.read(length))


def _trimmed(look: Look, width: int, height: int) -> Look:
    """Return the middle of a thumbnail of the picture's shape: cameras fill up its 4:3 with black bars."""
    rows, cols = look.shape[:2]
    keep_rows = min(rows, round(cols * height / width))
    keep_cols = min(cols, round(rows * width / height))
    top, left = (rows - keep_rows) // 2, (cols - keep_cols) // 2
    return look[top : top + keep_rows, left : left + keep_cols]


def _small_of_raw(path: Path) -> Look | None:
    """Return the thumbnail beside the tags of a RAW file; None where there is none."""
    with path.open("rb") as file:
        for source in tag_sources(file):
            with suppress(*DECODER_ERRORS, cv2.error):
                return _thumbnail(source)
    return None


def _large_of_raw(raw: rawpy.RawPy) -> Look:
    thumb = raw.extract_thumb().data
    if not isinstance(thumb, bytes):
        return np.asarray(thumb, np.uint8)
    layout = layout_of(BytesIO(thumb), "preview.jpg")
    return _decoded(thumb, layout.width, layout.height)


def _of_raw(path: Path) -> Look:
    with rawpy.RawPy() as raw:
        raw.open_file(str(path))
        sizes = raw.sizes
        small = _small_of_raw(path)
        look = _large_of_raw(raw) if small is None else _trimmed(small, sizes.width, sizes.height)
    upright_already = sizes.flip & 4 and (look.shape[0] > look.shape[1]) == (sizes.width > sizes.height)
    return look if upright_already else np.asarray(turned(look, orientation_of(sizes.flip)), np.uint8)


def _as_srgb(look: Look, profile: ColourProfile) -> Look:
    picture = Picture(look, profile)
    if picture.is_srgb:
        return look
    return np.asarray(np.rint(255 * linear_to_srgb(np.clip(to_linear(picture), 0, 1))), np.uint8)


def _of_finished(path: Path) -> Look | None:
    with path.open("rb") as file:
        layout = layout_of(file, path.name)
    orientation = layout.orientation
    try:
        look = _thumbnail(BytesIO(layout.exif))
        if layout.format == "HEIF":  # its size is upright, its thumbnail is turned as the Exif block says
            orientation = exif_facts(layout.exif)[0]
        width, height = (layout.width, layout.height) if layout.format != "HEIF" or orientation < 5 else layout.header[1::-1]
        look = _trimmed(look, width, height)
    except (*DECODER_ERRORS, cv2.error):
        if layout.format != "JPEG":
            return None
        look = _decoded(path.read_bytes(), layout.width, layout.height)
    return _as_srgb(np.asarray(turned(look, orientation), np.uint8), layout.profile)


def embedded_preview(path: Path) -> Look | None:
    """Return a small upright sRGB picture (h, w, 3) from a RAW file, a JPEG or a HEIC, of whatever size is there at once.

    From a JPEG without a thumbnail it is the picture itself at an eighth of its size or so, which takes longer. None where
    there is no preview or the file can't be read; never raises for what a file holds.
    """
    try:
        look = _of_raw(path) if is_raw(path) else _of_finished(path)
    except (*DECODER_ERRORS, FrameError, rawpy.LibRawError, cv2.error):
        return None
    sound = look is not None and look.ndim == 3 and look.shape[2] == 3 and min(look.shape[:2]) >= _SMALLEST
    return look if sound else None
