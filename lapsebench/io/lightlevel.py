"""Writes the content light level of an HDR film into the finished file, where placeholders stand for it.

How bright the brightest pixel and frame are (CTA-861.3) is known only when all frames have gone by. The film is begun with
`PLACEHOLDER`, which stands in the container (box clli) and in SEI messages of the stream (content_light_level_info, payload
type 144, Rec. ITU-T H.265 D.2.35); all are of fixed length and are overwritten in place.
"""

from __future__ import annotations

import mmap
import struct
from math import ceil
from pathlib import Path

from lapsebench.core.filmframe import LightLevel
from lapsebench.errors import EncoderError
from lapsebench.io.encoders import PLACEHOLDER

_BOX, _SEI, _END = b"clli", b"\x4e\x01\x90\x04", b"\x80"  # NAL unit of prefix SEI, payload type 144, 4 bytes; stop bit


def stated_level(level: LightLevel) -> tuple[int, int]:
    """Return the whole cd/m2 (MaxCLL, MaxFALL) to write for a level: rounded up, so that no two zero bytes meet.

    Two zero bytes before a small one would need an emulation-prevention byte (H.265 7.4.2) for which there is no room.
    """
    most, mean = max(1, ceil(level.most)), max(1, ceil(level.mean))
    return (most + 1 if most % 256 == 0 else most), (mean + 1 if mean % 256 == 0 else mean)


def write_light_level(film: Path, level: LightLevel) -> tuple[int, int]:
    """Put `level` in the place of every placeholder, and return what was written; EncoderError if there was none."""
    stated = stated_level(level)
    old, new = (struct.pack(">2H", *values) for values in (PLACEHOLDER, stated))
    try:
        with film.open("r+b") as file, mmap.mmap(file.fileno(), 0) as data:
            boxes = _replace(data, _BOX + old, _BOX + new)
            messages = _replace(data, _SEI + old + _END, _SEI + new + _END)
    except (OSError, ValueError) as error:  # an empty file can't be mapped
        raise EncoderError("The finished film can't be opened.", "Make the film again.", log=str(error)) from error
    if not (boxes and messages):
        raise EncoderError("The encoder left out the film's light level.", "Make the film in another format, or again.")
    return stated


def _replace(data: mmap.mmap, old: bytes, new: bytes) -> int:
    count, at = 0, data.find(old)
    while at >= 0:
        data[at : at + len(new)] = new
        count, at = count + 1, data.find(old, at + len(new))
    return count
