"""Tells whether the coded picture in a file is all there: decoders fill gaps with grey or black and call it a success."""

from __future__ import annotations

import zlib
from io import BytesIO

import av
import cv2
import numpy as np
from av.error import InvalidDataError
from numpy.typing import NDArray
from PIL import Image

from lapsebench.errors import FrameError
from lapsebench.io.directories import DECODER_ERRORS
from lapsebench.io.layout import COPY_AGAIN, Layout, Scan

Codes = NDArray[np.uint8] | NDArray[np.uint16]
Places = NDArray[np.intp]

_BETWEEN_SCANS = frozenset({0xC4, 0xCC, 0xDA, 0xDB, 0xDC, 0xDD, 0xFE, *range(0xE0, 0xF0)})
_MOST_SCANS = 200  # a picture in thousands of passes is a trap: each is decoded over the whole picture
_BLANK_RUN = bytes(512)  # a sector of a memory card
_GREY = 128  # what decoders fill with
_BREAK = 2.5  # codes; of 210 real sound pictures six are above, mostly by bars laid over them

_SHORT = "ends early: the file is cut short"
_HOLE = "is damaged: a part of the coded picture is missing or overwritten"


def _markers(data: bytes, start: int) -> tuple[Places, NDArray[np.uint8]]:
    """Return the places and codes of all markers from `start` on; a byte FF of the picture itself has a 0 after it."""
    codes = np.frombuffer(data, np.uint8)
    places = np.flatnonzero(codes[start:-1] == 0xFF) + start
    after = codes[places + 1]
    real = (after != 0x00) & (after != 0xFF)
    return places[real], after[real]


def _end_of_code(data: bytes, scan: Scan, places: Places, codes: NDArray[np.uint8]) -> tuple[int, str]:
    """Return where a JPEG's end mark is, and what is wrong on the way there (ITU-T T.81 Annex B)."""
    at, scans = scan.start, 1
    for i in np.flatnonzero((codes & 0xF8) != 0xD0):
        place, marker = int(places[i]), int(codes[i])
        if place < at:
            continue  # within the tables between two scans
        if marker == 0xD9:
            return place, ""
        if scan.blocks or marker not in _BETWEEN_SCANS:
            return place, _HOLE
        scans += marker == 0xDA
        if scans > _MOST_SCANS:
            return place, "is coded in too many passes to be true"
        at = place + 2 + int.from_bytes(data[place + 2 : place + 4], "big")
    return len(data), _SHORT


def _restarts_fit(codes: NDArray[np.uint8], parts: int) -> bool:
    """Return whether the restart marks of a scan are all there and in turn."""
    return codes.size == parts - 1 and bool((codes == 0xD0 + np.arange(codes.size) % 8).all())


def _strictly_decodes(data: bytes) -> bool:
    """Return whether a decoder that is told to stop at the first error gets through a JPEG."""
    codec = av.CodecContext.create("mjpeg", "r")
    codec.options = {"err_detect": "explode", "lowres": "2"}  # the size is of no interest, only the code
    codec.thread_count = 1
    try:
        codec.decode(av.Packet(data))
    except InvalidDataError:
        return False
    except (av.FFmpegError, ValueError):
        return True  # a kind it does not know: no evidence
    return True


def _jpeg_problem(data: bytes, layout: Layout) -> str:
    """Return what is wrong with the code of a JPEG as far as the bytes tell; bytes after its end do no harm."""
    scan = layout.scan
    places, codes = _markers(data, scan.start)
    end, problem = _end_of_code(data, scan, places, codes)
    if problem:
        return problem
    if 4 * (end - scan.start) < scan.blocks:  # even an empty block takes two bits
        return _SHORT
    if scan.parts and not _restarts_fit(codes[places < end], scan.parts):
        return _HOLE
    # Zeros are what a card leaves unwritten, but also how black is coded where the tables were made for the picture. Of
    # pictures in several passes, which cameras don't write, the bytes tell too little.
    doubtful = scan.progressive or data.find(_BLANK_RUN, scan.start, end) >= 0
    return _HOLE if doubtful and not _strictly_decodes(data) else ""


def _png_problem(data: bytes) -> str:
    """Return what is wrong with the chunks of a PNG, each of which has a checksum."""
    at = 8
    while at + 12 <= len(data):
        size = int.from_bytes(data[at : at + 4], "big")
        kind, end = data[at + 4 : at + 8], at + 8 + size
        if end + 4 > len(data):
            break
        if kind == b"IDAT" and zlib.crc32(memoryview(data)[at + 4 : end]).to_bytes(4, "big") != data[end : end + 4]:
            return _HOLE
        if kind == b"IEND":
            return ""
        at += 12 + size
    return _SHORT


def _units_chain(data: bytes, start: int, length: int) -> bool:
    """Return whether a piece of HEVC is a chain of units with their lengths before them (ISO/IEC 14496-15 section 8.3).

    Three zeros in a row don't occur within one (ITU-T H.265 section 7.3.1.1), but where a card left a hole.
    """
    at, end = start, start + length
    while at + 4 <= end:
        size = int.from_bytes(data[at : at + 4], "big")
        if size < 2 or data[at + 4] & 0x80 or data.find(b"\0\0\0", at + 4, min(at + 4 + size, end)) >= 0:
            return False
        at += 4 + size
    return at == end


def _problem(data: bytes, layout: Layout) -> str:
    """Return what is wrong with the coded picture as far as its bytes tell before it is decoded; empty if nothing."""
    if layout.format == "JPEG":
        return _jpeg_problem(data, layout)
    if layout.format == "PNG":
        return _png_problem(data)
    if any(start + length > len(data) for start, length in layout.pieces):
        return _SHORT
    if layout.format == "HEIF" and not all(_units_chain(data, *piece) for piece in layout.pieces):
        return _HOLE
    return ""


def _grey_share(codes: Codes) -> float:
    """Return the share 0..1 of rows at the bottom, as stored, that are the grey decoders fill gaps with."""
    grey = (codes == _GREY).all(axis=(1, 2))[::-1]
    return float(np.argmin(grey) / grey.size) if not grey.all() else 1.0


def _missing_share(data: bytes, layout: Layout) -> float:
    """Return the share 0..1 of a JPEG's rows that a decoder has to leave grey; 0 where it can't be told."""
    if layout.format != "JPEG" or layout.scan.progressive:
        return 0.0
    try:
        with Image.open(BytesIO(data + b"\xff\xd9"), formats=("JPEG",)) as image:
            image.draft("RGB", (layout.width // 8, layout.height // 8))
            return _grey_share(np.asarray(image.convert("RGB")))
    except DECODER_ERRORS:
        return 0.0


def _error(name: str, problem: str, missing: float) -> FrameError:
    if problem == _SHORT and round(100 * missing):
        problem = f"ends early: {round(100 * missing)} % of the picture is missing"
    return FrameError(f"{name} {problem}.", COPY_AGAIN)


def check_bytes(data: bytes, layout: Layout, name: str) -> None:
    """Raise FrameError where the bytes of a file tell, before decoding, that the coded picture is not all there."""
    if problem := _problem(data, layout):
        raise _error(name, problem, _missing_share(data, layout) if problem == _SHORT else 0.0)


def _breaks(codes: Codes, stored_height: int) -> bool:
    """Return whether a picture, as stored, changes from one row of code blocks to the next as it nowhere does around."""
    rows = cv2.reduce(codes, 1, cv2.REDUCE_AVG, dtype=cv2.CV_32F)[:, 0]
    steps = np.abs(np.diff(rows, axis=0)).max(axis=1)
    block = max(1, round(8 * codes.shape[0] / stored_height))
    places = np.arange(block - 1, steps.size, block)
    places = places[(places >= 3) & (places < steps.size - 3)]
    around = np.max([steps[places + k] for k in (-3, -2, -1, 1, 2, 3)], axis=0, initial=0.0)
    return bool((steps[places] > _BREAK + 2 * around).any())


def check_decoded(data: bytes, layout: Layout, codes: Codes, name: str) -> None:
    """Raise FrameError where a decoded JPEG, as stored, looks as if its code ended early or went astray, and it did.

    The looks are only a reason to decode it again, strictly: a horizon may be as straight, and a wall as grey.
    """
    if layout.format != "JPEG":
        return
    ends_grey = bool((codes[-1, -max(codes.shape[1] * 8 // layout.width, 1) :] == _GREY).all())
    if (ends_grey or _breaks(codes, layout.height)) and not _strictly_decodes(data):
        raise _error(name, _SHORT if ends_grey else _HOLE, _grey_share(codes))
