"""What a DNG file says of its numbers that LibRaw does not pass on (DNG specification 1.4, chapters 4 and 6)."""

from __future__ import annotations

import struct
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from lapsebench.io.directories import DAMAGED

_KINDS = {1: "B", 3: "H", 4: "I", 5: "II", 8: "h", 9: "i", 10: "ii", 11: "f", 12: "d", 13: "I"}
_LONGEST = 100_000  # bytes of one of the tags used here; tables of strips may be long
_ILLUMINANT_K = {1: 5500, 3: 2850, 17: 2856, 18: 4874, 19: 6774, 20: 5503, 21: 6504, 22: 7504, 23: 5003, 24: 3200}
"""Temperatures of Exif LightSource codes (CIPA DC-008, LightSource; CIE 015)."""
_DAYLIGHT_K = 6504
_SIGNS_OF_DNG = 50706
Tags = dict[int, tuple[float, ...]]
Numbers = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class DngTags:
    """`black`: (p, q) codes from the active area's `top`, `left` on; `matrix`: XYZ to camera, (3, 3); None where not given.

    `neutral`: camera R, G, B of the shot's white. `ends_at`: bytes the file must have for its mosaic to be whole.
    """

    black: Numbers | None = None
    top: int = 0
    left: int = 0
    matrix: Numbers | None = None
    neutral: tuple[float, ...] = ()
    baseline_ev: float = 0.0
    ends_at: int = 0
    linear: bool = field(default=False)


def read_dng_tags(path: Path) -> DngTags | None:
    """Return the tags of a DNG; None for any other file or where its directories are damaged."""
    try:
        with path.open("rb") as file:
            head = file.read(8)
            order = {b"II*\0": "<", b"MM\0*": ">"}[head[:4]]
            main = _directory(file, order, struct.unpack(order + "I", head[4:])[0])
            if _SIGNS_OF_DNG not in main:
                return None
            mosaics = [main, *(_directory(file, order, int(at)) for at in main.get(330, ()))]
    except (*DAMAGED, OSError):
        return None
    sensor = [tags for tags in mosaics if tags.get(254, (0,))[0] == 0 and tags.get(262, (0,))[0] in (32803, 34892)]
    try:
        return _understood(main, max(sensor, key=lambda tags: tags[256][0] * tags[257][0]) if sensor else main)
    except DAMAGED:
        return None


def _directory(file: BinaryIO, order: str, at: int) -> Tags:
    file.seek(at)
    (count,) = struct.unpack(order + "H", file.read(2))
    table = file.read(12 * count)
    tags: Tags = {}
    for start in range(0, len(table) - 11, 12):
        tag, kind, number, place = struct.unpack(order + "HHI4s", table[start : start + 12])
        form = _KINDS.get(kind, "")
        length = number * struct.calcsize("<" + form) if form else 0
        if not 0 < length <= _LONGEST:
            continue
        if length > 4:
            file.seek(struct.unpack(order + "I", place)[0])
            place = file.read(length)
        parts = struct.unpack(order + form * number, place[:length])
        pairs = len(form) == 2
        tags[tag] = tuple(a / b if b else 0.0 for a, b in zip(parts[::2], parts[1::2], strict=True)) if pairs else parts
    return tags


def _understood(main: Tags, sensor: Tags) -> DngTags:
    area = sensor.get(50829, (0, 0, 0, 0))
    black = None
    linear = sensor.get(262, (0,))[0] == 34892
    if 50714 in sensor and not linear:
        rows, cols = (int(n) for n in sensor.get(50713, (1, 1)))
        black = np.array(sensor[50714], float).reshape(rows, cols)
        black += sum(float(np.mean(sensor[tag])) for tag in (50715, 50716) if tag in sensor)
    parts = zip(sensor.get(273, sensor.get(324, ())), sensor.get(279, sensor.get(325, ())), strict=False)
    return DngTags(
        black=black,
        top=int(area[0]),
        left=int(area[1]),
        matrix=_daylight_matrix(main),
        neutral=main.get(50728, ()),
        baseline_ev=main.get(50730, (0.0,))[0],
        ends_at=int(max((start + size for start, size in parts), default=0)),
        linear=linear,
    )


def _daylight_matrix(main: Tags) -> Numbers | None:
    """Return the XYZ to camera matrix whose light is nearest to daylight, for this very camera (chapter 6)."""
    found = []
    for matrix, illuminant, calibration in ((50721, 50778, 50723), (50722, 50779, 50724)):
        if len(main.get(matrix, ())) != 9:
            continue
        kelvin = _ILLUMINANT_K.get(int(main.get(illuminant, (0,))[0]), 5000)
        own = np.array(main.get(calibration, np.eye(3).ravel())).reshape(3, 3)
        analog = np.diag(main.get(50727, (1.0, 1.0, 1.0)))
        found.append((abs(1 / kelvin - 1 / _DAYLIGHT_K), analog @ own @ np.array(main[matrix]).reshape(3, 3)))
    return min(found, key=lambda pair: pair[0])[1] if found else None
