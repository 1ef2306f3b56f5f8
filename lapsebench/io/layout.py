"""What a picture file says of itself before it is decoded, and the words for a file that can't be used."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

from PIL import Image

from lapsebench.errors import FrameError
from lapsebench.io.icc import DCF_OPTION, SRGB, ColourProfile, parse_profile
from lapsebench.io.nclx import coded_profile

Format = Literal["JPEG", "PNG", "TIFF", "HEIF"]

MAX_PIXELS = 400_000_000
"""Larger than any camera's frame; a header that claims more is a trap or an accident."""

Image.MAX_IMAGE_PIXELS = MAX_PIXELS  # its own limit would warn of, or refuse, whole frames of large cameras

EXPORT = "Export it again as JPEG, PNG or TIFF with 8 or 16 bits, or leave it out."
"""What to do with a picture of a kind that is not read."""
DEVELOP = "Develop it to TIFF with 16 bits, or leave it out."
"""What to do with a RAW file of a kind that is not read."""
COPY_AGAIN = "Copy it again from the memory card, or leave it out."
"""What to do with a damaged picture."""


class Header(NamedTuple):
    """Size in pixels as shown, bits a channel, and the file format."""

    width: int
    height: int
    bit_depth: int
    format: Format


class Scan(NamedTuple):
    """How a JPEG's picture is coded: where the code starts, its blocks of 8 x 8, and how many of them a restart part holds.

    `blocks` and `parts` are 0 where they can't be told: in several scans, or without restarts.
    """

    start: int
    blocks: int = 0
    parts: int = 0
    progressive: bool = False


_NO_SCAN = Scan(0)


@dataclass(frozen=True, slots=True)
class Layout:
    """What a picture file says of itself before it is decoded; `width` and `height` as stored, not as shown.

    `exif` is the Exif block from its byte order mark on (but in a TIFF, which is one itself); `orientation_at` is the
    place of a TIFF's orientation in the file; `pieces` are the places (start, length) of the coded picture in a TIFF or
    HEIF, `packed` says that those of a TIFF are compressed; `nclx` are a HEIF's colour primaries and transfer. Size and
    orientation of a HEIF are those of the decoded picture.
    """

    format: Format
    width: int
    height: int
    bit_depth: int
    channels: int
    orientation: int = 1
    icc: bytes = b""
    exif: bytes = b""
    scan: Scan = _NO_SCAN
    orientation_at: int = 0
    option_space: bool = False
    pieces: tuple[tuple[int, int], ...] = ()
    packed: bool = False
    nclx: tuple[int, int] | None = None
    refusal: str = ""

    @property
    def header(self) -> Header:
        """Size as shown, depth and format."""
        size = (self.height, self.width) if self.orientation >= 5 else (self.width, self.height)
        return Header(*size, self.bit_depth, self.format)

    @property
    def profile(self) -> ColourProfile:
        """The embedded profile; without one the code of a HEIF or the camera's colour space mark, else sRGB."""
        if self.icc:
            return parse_profile(self.icc)
        if self.nclx:
            return coded_profile(*self.nclx)
        return DCF_OPTION if self.option_space else SRGB


def no_access(name: str, error: OSError) -> FrameError:
    """Return the words for a file that the system won't hand over."""
    if isinstance(error, PermissionError):
        return FrameError(f"{name} may not be read: permission denied.", "Ask for the right to read it.")
    if isinstance(error, FileNotFoundError):
        return FrameError(f"{name} is not there.", "Is the drive or memory card still connected?")
    if isinstance(error, IsADirectoryError):
        return FrameError(f"{name} is a folder.", "Name a file in it.")
    return FrameError(f"{name} can't be read: {error.strerror or error}.", COPY_AGAIN)
