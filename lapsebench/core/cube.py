"""Reads look-up tables written as .cube text.

Cube LUT Specification 1.0 (Adobe, 2013): keywords, then the table, a line each; in three dimensions red changes fastest.
Limits and grammar are from memory. Beyond the specification an input range of one dimension or three, which some programs
write, is taken as the domain of all channels. What is not known is refused: guessing would give wrong colours.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.lut import Lut, Lut1D, Lut3D, Triple
from lapsebench.errors import LapsebenchError

MOST_1D, MOST_3D = 65536, 256
_GREATEST = 1e6  # of a number in the table or the domain: far over any light, and exact enough in single precision
_LEAST_DOMAIN = 1e-6
_SIZES = {"LUT_1D_SIZE": MOST_1D, "LUT_3D_SIZE": MOST_3D}
_RANGES = {"LUT_1D_INPUT_RANGE", "LUT_3D_INPUT_RANGE"}
_REMEDY = "Save the LUT anew as a .cube file from the program that made it."


def parse_cube(text: str) -> Lut:
    """Return the table that .cube `text` holds. Raises `LapsebenchError` naming the line and what is wrong with it."""
    heads: dict[str, list[str]] = {}
    lines = _lines(text)
    first: tuple[int, str] | None = None
    for number, line in lines:
        if not line[0].isalpha():
            first = number, line
            break
        keyword, _, rest = line.replace("\t", " ").partition(" ")
        _take_keyword(heads, keyword.upper(), rest.strip(), number)
    name, size = _size(heads, first)
    low, high = _domain(heads)
    count = size**3 if name == "LUT_3D_SIZE" else size
    table = _table(first, lines, count)
    title = " ".join(heads.get("TITLE", []))
    if name == "LUT_1D_SIZE":
        return Lut1D(table, low, high, title)
    by_red = np.ascontiguousarray(table.reshape(size, size, size, 3).transpose(2, 1, 0, 3))
    return Lut3D(by_red, low, high, title)


def _lines(text: str) -> Iterator[tuple[int, str]]:
    """Yield number and text of each line that is neither blank nor a comment; lines end in CR, LF or both."""
    text = text.removeprefix("\ufeff")
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    start, number = 0, 0
    while start < len(text):
        end = text.find("\n", start)
        end = len(text) if end < 0 else end
        line = text[start:end].strip()
        start, number = end + 1, number + 1
        if line and line[0] != "#":
            yield number, line


def _take_keyword(heads: dict[str, list[str]], keyword: str, rest: str, number: int) -> None:
    """Add one keyword's words to `heads`."""
    if keyword in heads:
        raise _wrong(number, f"{keyword} stands there a second time")
    if keyword == "TITLE":
        heads[keyword] = [rest.strip('"')]
        return
    words = rest.partition("#")[0].split()
    if keyword in _SIZES:
        if len(words) != 1 or not (words[0].isascii() and words[0].isdigit() and len(words[0]) < 9):
            raise _wrong(number, f"{keyword} needs one whole number")
        if not 2 <= int(words[0]) <= _SIZES[keyword]:
            raise _wrong(number, f"{keyword} must be from 2 to {_SIZES[keyword]}, not {int(words[0])}")
    elif keyword in _RANGES | {"DOMAIN_MIN", "DOMAIN_MAX"}:
        count = 2 if keyword in _RANGES else 3
        if _numbers(" ".join(words), number, count) is None:
            raise _wrong(number, f"{keyword} needs {count} numbers")
    else:
        raise _wrong(number, f"“{_short(keyword)}” is not known")
    heads[keyword] = words


def _size(heads: dict[str, list[str]], first: tuple[int, str] | None) -> tuple[str, int]:
    """Return the size's keyword and value."""
    given = [name for name in _SIZES if name in heads]
    if len(given) == 2:
        raise LapsebenchError("The LUT holds both a 1D and a 3D table; .cube files may hold one of them.", _REMEDY)
    if not given:
        where = f"Line {first[0]} of the LUT comes before any size" if first else "The LUT has no size"
        raise LapsebenchError(f"{where}: LUT_1D_SIZE or LUT_3D_SIZE is missing.", _REMEDY)
    return given[0], int(heads[given[0]][0])


def _domain(heads: dict[str, list[str]]) -> tuple[Triple, Triple]:
    """Return the least and the greatest value of R, G, B."""
    low: list[float] = [float(word) for word in heads.get("DOMAIN_MIN", ["0"] * 3)]
    high: list[float] = [float(word) for word in heads.get("DOMAIN_MAX", ["1"] * 3)]
    for name in _RANGES & heads.keys():
        if "DOMAIN_MIN" in heads or "DOMAIN_MAX" in heads:
            raise LapsebenchError(f"The LUT gives its domain twice: as {name} and as DOMAIN_MIN or DOMAIN_MAX.", _REMEDY)
        low, high = ([float(heads[name][k])] * 3 for k in range(2))
    if any(top - bottom < _LEAST_DOMAIN for bottom, top in zip(low, high, strict=True)):
        raise LapsebenchError("The LUT's domain ends before it begins.", _REMEDY)
    return (low[0], low[1], low[2]), (high[0], high[1], high[2])


def _table(first: tuple[int, str] | None, lines: Iterator[tuple[int, str]], count: int) -> NDArray[np.float32]:
    """Return the table's lines, (count, 3)."""
    if first is None:
        raise LapsebenchError(f"The LUT's table of {count} lines is missing.", _REMEDY)
    table = np.empty((count, 3), np.float32)
    filled, at = 0, first
    while True:
        number, line = at
        values = _numbers(line, number, 3)
        if values is None:
            raise _wrong(number, f"three numbers are needed, not “{_short(line)}”")
        if filled == count:
            raise _wrong(number, f"the table goes on after its {count} lines")
        table[filled] = values
        filled += 1
        following = next(lines, None)
        if following is None:
            break
        at = following
    if filled < count:
        raise LapsebenchError(f"The LUT ends after {filled} of the {count} lines of its table.", _REMEDY)
    return table


def _numbers(line: str, number: int, count: int) -> list[float] | None:
    """Return the numbers in a line, None where there are not `count` of them."""
    words = line.split()
    if len(words) > count and words[count][0] == "#":
        words = words[:count]
    if len(words) != count or "_" in line or not line.isascii():
        return None
    try:
        values = [float(word) for word in words]
    except ValueError:
        return None
    if not all(isfinite(value) and abs(value) <= _GREATEST for value in values):
        raise _wrong(number, f"“{_short(line)}” holds a number beyond all light")
    return values


def _short(text: str) -> str:
    return text if len(text) <= 40 else f"{text[:40]}…"


def _wrong(number: int, what: str) -> LapsebenchError:
    return LapsebenchError(f"Line {number} of the LUT is wrong: {what}.", _REMEDY)
