"""Reads .cube files: the text in whatever encoding it was saved, then the table."""

from __future__ import annotations

import codecs
from pathlib import Path

from lapsebench.core.cube import parse_cube
from lapsebench.core.lut import Lut
from lapsebench.errors import LapsebenchError

MOST_BYTES = 512 * 2**20
"""A table of 256 nodes a side, three numbers of eight characters a line, fits."""


def read_cube(path: Path) -> Lut:
    """Return the look-up table in a .cube file. Raises `LapsebenchError` naming the file, the line and what is wrong."""
    if not path.is_file():
        raise LapsebenchError(f"“{path.name}” is not there, or no file.", "Choose a .cube file.")
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise LapsebenchError(f"“{path.name}” is too large for a LUT: {size // 2**20} MB.", "Choose a .cube file.")
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise LapsebenchError(f"“{path.name}” can't be read: {error.strerror}.", "Check that it is still there.") from error
    try:
        return parse_cube(_text(data))
    except LapsebenchError as error:
        raise LapsebenchError(f"“{path.name}” can't be used. {error.what}", error.remedy) from error


def _text(data: bytes) -> str:
    """Return the bytes as text: UTF-8, UTF-16 where it says so, else one character a byte, so that only a title suffers."""
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return data.decode("utf-16", "replace")
    if b"\0" in data[:4096]:
        raise LapsebenchError("It is no text.", "Choose a .cube file.")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")
