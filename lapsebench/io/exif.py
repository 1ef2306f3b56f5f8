"""Reads the tags of Exif blocks and of TIFF-like files, by one library and where it fails by another."""

from __future__ import annotations

import logging
import struct
import warnings
from typing import Any, BinaryIO

import exifread
from exifread.core.exceptions import ExifNotFound, InvalidExif
from PIL import Image

from lapsebench.io.tags import Tags

logging.getLogger("exifread").setLevel(logging.CRITICAL + 1)  # what a damaged file lacks is shown as unknown
warnings.filterwarnings("ignore", category=UserWarning, module=r"PIL\.")

# A hostile block can make either library fail in any of these ways; no tag is then known.
_PARSER_ERRORS = (
    *(OSError, EOFError, SyntaxError, ValueError, LookupError, ArithmeticError, TypeError, AttributeError),
    *(AssertionError, NotImplementedError, RecursionError, MemoryError, struct.error, UserWarning),
)


def _exifread_tags(source: BinaryIO) -> dict[int, Any]:
    try:
        found = exifread.process_file(source, details=False, extract_thumbnail=False)
    except (*_PARSER_ERRORS, ExifNotFound, InvalidExif):
        return {}
    named = {key: tag for key, tag in found.items() if key.startswith(("Image ", "EXIF ")) and hasattr(tag, "values")}
    return {tag.tag: tag.values for key, tag in sorted(named.items(), reverse=True)}  # EXIF last: its tags win


def _pillow_tags(source: BinaryIO) -> dict[int, Any]:
    try:
        exif = Image.Exif()
        exif.load_from_fp(source)
        return {**exif, **exif.get_ifd(0x8769)}
    except _PARSER_ERRORS:
        return {}


def tags_of(source: BinaryIO) -> Tags:
    """Return the tags of the main and the Exif directory of a block or file; empty where they are past reading.

    Only the directories are read, however long the file.
    """
    source.seek(0)
    tags = _exifread_tags(source)
    source.seek(0)
    return tags or _pillow_tags(source)
