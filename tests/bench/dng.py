"""Writes made RAW frames as DNG files: a sensor of known colour, black level and noise, and the tags cameras write.

`record` turns linear scene light into the codes of a sensor, `write_dng` puts them into a file; all cameras are invented.
Tags: TIFF 6.0, Exif 3.0 (CIPA DC-008) and the DNG specification 1.4.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from math import isqrt
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.balance import D65, Matrix, rgb_to_xyz
from lapsebench.core.mosaic import Mosaic
from lapsebench.io.raw import read_raw

_FORMS = {1: "B", 2: "s", 3: "H", 4: "I", 5: "II", 7: "s", 10: "ii"}
_COLOURS = {"R": 0, "G": 1, "B": 2, "C": 3, "M": 4, "Y": 5}
Entries = dict[int, tuple[int, Any]]


@dataclass(frozen=True)
class Sensor:
    """A made camera. `pattern`: its 2 x 2 colours in reading order, or 6 x 6; `black`: one code, or one per place of a tile.

    `planes`: the colours in the order of the rows of `matrix`, XYZ to camera. `full_well`: electrons between black and
    white; `read_noise`: electrons rms.
    """

    name: str = "Velmar R1"
    pattern: str = "RGGB"
    black: tuple[float, ...] = (512,)
    white: int = 16383
    planes: str = "RGB"
    matrix: Matrix = ((0.72, -0.22, -0.08), (-0.45, 1.27, 0.20), (-0.08, 0.19, 0.62))
    full_well: float = 30000.0
    read_noise: float = 3.0

    @property
    def side(self) -> int:
        """Length of the repeated tile of colours."""
        return isqrt(len(self.pattern))

    @property
    def neutral(self) -> tuple[float, ...]:
        """What the camera's colours see of daylight (D65), G = 1."""
        seen = np.array(self.matrix) @ [D65[0], D65[1], 1 - sum(D65)]
        return tuple((seen / seen[self.planes.index("G")]).tolist())


def record(
    light: NDArray[Any], sensor: Sensor, *, gain: float = 1.0, random: np.random.Generator | None = None
) -> NDArray[np.uint16]:
    """Return the codes (h, w) of scene light (h, w, 3), linear BT.709; white times `gain` = 1 just saturates green.

    With `random` photons arrive by Poisson's law and read noise is added; without, codes are exact but for rounding.
    """
    to_camera = np.array(sensor.matrix) @ rgb_to_xyz("BT.709")
    to_camera *= gain / to_camera[sensor.planes.index("G")].sum()
    height, width = light.shape[:2]
    side, black = sensor.side, _black_tile(sensor)
    electrons = np.empty((height, width))
    for place, colour in enumerate(sensor.pattern):
        row, col = divmod(place, side)
        electrons[row::side, col::side] = light[row::side, col::side] @ to_camera[sensor.planes.index(colour)]
    electrons *= sensor.full_well
    if random is not None:
        electrons = random.poisson(np.maximum(electrons, 0)) + random.normal(0, sensor.read_noise, electrons.shape)
    dark = np.tile(black, (-(-height // black.shape[0]), -(-width // black.shape[1])))[:height, :width]
    codes = dark + electrons * ((sensor.white - black.mean()) / sensor.full_well)
    stored: NDArray[np.uint16] = np.clip(np.rint(codes), 0, sensor.white).astype(np.uint16)
    return stored


def _black_tile(sensor: Sensor) -> NDArray[np.float64]:
    side = isqrt(len(sensor.black))
    return np.array(sensor.black, float).reshape(side, side)


def read_mosaic(path: Path) -> Mosaic:
    """Return the mosaic of a file that has one."""
    raw = read_raw(path)
    if not isinstance(raw, Mosaic):
        raise TypeError(f"{path.name} has no mosaic")
    return raw


def write_dng(
    path: Path,
    codes: NDArray[np.uint16],
    sensor: Sensor = Sensor(),
    *,
    exposure_s: float = 8.0,
    f_number: float = 2.8,
    iso: int = 1600,
    taken: datetime = datetime(2026, 2, 11, 21, 4, 5, 250000),
    offset: str = "+01:00",
    neutral: Sequence[float] | None = None,
    orientation: int = 1,
    baseline_ev: float | None = None,
    linearization: NDArray[np.uint16] | None = None,
    active_area: tuple[int, int, int, int] | None = None,
    lens: str = "Velmar 14 mm f/1.8",
    focal_mm: float = 14.0,
    serial: str = "N2-00417",
    preview: bytes = b"",
    colours: bool = True,
) -> Path:
    """Write `codes` as an uncompressed DNG and return its path: a mosaic (h, w), or linear in all colours (h, w, 3).

    With `colours` False a mosaic is that of a sensor without any, (h, w).

    `neutral`: camera R, G, B of the light's white, daylight if None; () leaves it out. `active_area`: top, left, bottom,
    right. `linearization`: the table (0xC618) that stored codes go through. `preview`: a JPEG; the mosaic then sits in a
    sub-directory, as cameras write it.
    """
    side, black = sensor.side, _black_tile(sensor)
    common: Entries = {
        271: (2, sensor.name.split()[0]),
        272: (2, sensor.name),
        274: (3, orientation),
        306: (2, taken.strftime("%Y:%m:%d %H:%M:%S")),
        50706: (1, (1, 4, 0, 0)),
        50708: (2, sensor.name),
        50721: (10, [value for row in sensor.matrix for value in row]),
        50778: (3, 21),  # ColorMatrix1 is for D65
    }
    neutral = sensor.neutral if neutral is None else neutral
    if len(neutral):
        common[50728] = (5, list(neutral))
    if baseline_ev is not None:
        common[50730] = (10, baseline_ev)
    mosaic: Entries = {
        254: (4, 0),
        256: (4, codes.shape[1]),
        257: (4, codes.shape[0]),
        258: (3, 16),
        259: (3, 1),
        262: (3, 32803),
        277: (3, 1),
        278: (4, codes.shape[0]),
        33421: (3, (side, side)),
        33422: (1, [_COLOURS[colour] for colour in sensor.pattern]),
        50710: (1, [_COLOURS[colour] for colour in sensor.planes]),
        50711: (3, 1),
        50713: (3, black.shape),
        50714: (5, black.ravel()),
        50717: (4, sensor.white),
    }
    if codes.ndim == 3 or not colours:
        planes = codes.shape[2] if codes.ndim == 3 else 1
        mosaic |= {258: (3, [16] * planes), 262: (3, 34892), 277: (3, planes), 284: (3, 1), 50713: (3, (1, 1))}
        mosaic |= {50714: (5, [black.mean()] * planes), 50717: (4, [sensor.white] * planes)}
        mosaic = {tag: entry for tag, entry in mosaic.items() if tag not in (33421, 33422, 50710, 50711)}
    if linearization is not None:
        mosaic[50712] = (3, linearization)
    if active_area is not None:
        mosaic[50829] = (4, active_area)
    exif: Entries = {
        33434: (5, exposure_s),
        33437: (5, f_number),
        34855: (3, iso),
        36864: (7, b"0231"),
        36867: (2, taken.strftime("%Y:%m:%d %H:%M:%S")),
        36881: (2, offset),
        37386: (5, focal_mm),
        37521: (2, f"{taken.microsecond // 1000:03}"),
        42033: (2, serial),
        42036: (2, lens),
    }
    pixels = np.ascontiguousarray(codes, "<u2").data
    with path.open("wb") as file:
        file.write(_directories(common, mosaic, exif, preview, pixels.nbytes))
        file.write(preview)
        file.write(pixels)
    return path


def _directories(common: Entries, mosaic: Entries, exif: Entries, preview: bytes, size: int) -> bytes:
    """Return header and directories; preview and pixels follow in this order. Their lengths don't depend on the offsets."""
    ends = [0, 0, 0]
    for _ in range(2):
        main, sub = (common | mosaic, {}) if not preview else (common, mosaic)
        strips: Entries = {273: (4, ends[2] + len(preview)), 279: (4, size)}
        main[34665] = (4, ends[1])
        if preview:
            main |= {254: (4, 1), 259: (3, 7), 262: (3, 6), 273: (4, ends[2]), 279: (4, len(preview)), 330: (4, ends[0])}
            sub = sub | strips
        else:
            main |= strips
        blob = b"II*\0" + struct.pack("<I", 8)
        for number, entries in enumerate((main, sub, exif)):
            if entries:
                blob += _directory(entries, len(blob))
            ends[number] = len(blob)
    return blob


def _directory(entries: Entries, at: int) -> bytes:
    """Return one directory that stands `at` a place in the file, with its longer values behind it."""
    table, beyond = struct.pack("<H", len(entries)), b""
    behind = at + 2 + 12 * len(entries) + 4
    for tag in sorted(entries):
        kind, value = entries[tag]
        count, raw = _packed(kind, value)
        if len(raw) > 4:
            place = struct.pack("<I", behind + len(beyond))
            beyond += raw + b"\0" * (len(raw) % 2)
        else:
            place = raw.ljust(4, b"\0")
        table += struct.pack("<HHI", tag, kind, count) + place
    return table + struct.pack("<I", 0) + beyond


def _packed(kind: int, value: Any) -> tuple[int, bytes]:
    if kind in (2, 7):
        raw = value if isinstance(value, bytes) else value.encode() + b"\0"
        return len(raw), raw
    values = np.atleast_1d(np.asarray(value)).ravel().tolist()
    if kind in (5, 10):
        parts = [Fraction(number).limit_denominator(1_000_000) for number in values]
        raw = b"".join(struct.pack("<" + _FORMS[kind], part.numerator, part.denominator) for part in parts)
    else:
        raw = struct.pack(f"<{len(values)}{_FORMS[kind]}", *map(int, values))
    return len(values), raw
