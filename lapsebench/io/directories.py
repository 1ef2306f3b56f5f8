"""The tag directories of TIFF files and Exif blocks: their entries, and what a decoder must know of them."""

from __future__ import annotations

import struct
import zlib
from io import BytesIO
from typing import Any, BinaryIO, NamedTuple

DAMAGED = (struct.error, zlib.error, ValueError, LookupError, ArithmeticError)
"""What reading a damaged header may raise."""
DECODER_ERRORS = (*DAMAGED, OSError, SyntaxError, TypeError, AttributeError, EOFError, MemoryError, RuntimeError)
"""What decoding a damaged picture may raise in any of the libraries, cv2's own error aside."""

_KINDS = {1: "B", 2: "B", 3: "H", 4: "I", 7: "B", 16: "Q"}  # kinds of TIFF numbers and bytes, as struct names them
_LONGEST = 16_000_000  # bytes of one header entry: a colour profile is far shorter
_MOST_IN_CHAIN = 16


class Entry(NamedTuple):
    """One tag: the kind of its numbers, their bytes, and where in the file those are."""

    kind: int
    raw: bytes
    at: int


class Directories:
    """The tag directories of a TIFF file or an Exif block (TIFF 6.0 section 2; the 64-bit variant too)."""

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        head = file.read(16)
        self._order = {b"II": "<", b"MM": ">"}[head[:2]]
        self._big = self._unpack("H", head[2:4])[0] == 43
        self.first: int = self._unpack("Q", head[8:16])[0] if self._big else self._unpack("I", head[4:8])[0]

    def _unpack(self, form: str, data: bytes) -> tuple[Any, ...]:
        return struct.unpack(self._order + form, data)

    def read(self, offset: int) -> dict[int, Entry]:
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
            entries[tag] = Entry(kind, value[:length], at)
        return entries

    def rest(self) -> list[dict[int, Entry]]:
        """Return the directories that follow the first one in its chain."""
        place, found = self.first, []
        count_form, size, link = ("Q", 20, "Q") if self._big else ("H", 12, "I")
        for _ in range(_MOST_IN_CHAIN):
            self._file.seek(place)
            (count,) = self._unpack(count_form, self._file.read(struct.calcsize("<" + count_form)))
            self._file.seek(count * size, 1)
            (place,) = self._unpack(link, self._file.read(struct.calcsize("<" + link)))
            if not place:
                break
            found.append(self.read(place))
        return found

    def numbers(self, entries: dict[int, Entry], tag: int, default: int = 0) -> tuple[int, ...]:
        """Return the whole numbers of a tag, (default,) where it isn't there."""
        if tag not in entries:
            return (default,)
        form, raw = _KINDS[entries[tag].kind], entries[tag].raw
        return self._unpack(f"{len(raw) // struct.calcsize('<' + form)}{form}", raw) or (default,)

    def number(self, entries: dict[int, Entry], tag: int, default: int = 0) -> int:
        """Return the first whole number of a tag."""
        return self.numbers(entries, tag, default)[0]


def upright_code(value: int) -> int:
    """Return the orientation if it is one (1..8), else 1: upright as stored."""
    return value if 1 <= value <= 8 else 1


def exif_facts(exif: bytes) -> tuple[int, bool]:
    """Return the orientation 1..8 and whether the Exif block names the option colour space (index R03)."""
    orientation = 1
    try:
        block = Directories(BytesIO(exif))
        main = block.read(block.first)
        orientation = upright_code(block.number(main, 0x0112, 1))
        detail = block.read(pointer) if (pointer := block.number(main, 0x8769)) else {}
        interop = block.read(pointer) if (pointer := block.number(detail, 0xA005)) else {}
        return orientation, 1 in interop and interop[1].raw.startswith(b"R03")
    except DAMAGED:
        return orientation, False  # a broken block says nothing more; the picture itself may be sound
