"""Embedded colour profiles: what the codes of a picture mean in linear light.

ICC.1:2022 (profile version 4.4): header 7.2, matrix model 8.3 and Annex F.3, curveType 10.6, parametricCurveType 10.18.
The DCF option colour space (JEITA CP-3461, Exif interoperability index R03) is what cameras write without a profile.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.transfer import srgb_table

Matrix = tuple[tuple[float, ...], ...]
Parameters = tuple[float, float, float, float, float, float, float]

_D50 = np.array([0.9642, 1.0, 0.8249])
_D65_XY = (0.3127, 0.3290)
_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
_SRGB_XY = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))
_R03_XY = ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06))
_PROBE = np.linspace(0.0, 1.0, 65)
_NEAR_CURVE = 0.002  # tables of 1024 entries and 16-bit parameters are this close to the true curve
_NEAR_MATRIX = 0.005


@dataclass(frozen=True, slots=True)
class Curve:
    """One channel's way from code to light, both 0..1: evenly spaced `samples`, or else `parameters` g a b c d e f.

    With parameters, light is (a x + b)^g + e from x = d on, and c x + f below it.
    """

    samples: tuple[float, ...] = ()
    parameters: Parameters = (1.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0)

    def light(self, codes: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return linear light for codes in [0, 1], same shape."""
        if self.samples:
            return np.interp(codes, np.linspace(0.0, 1.0, len(self.samples)), self.samples)
        g, a, b, c, d, e, f = self.parameters
        with np.errstate(all="ignore"):  # a damaged curve may lead to infinity; it is refused for that later
            return np.where(codes >= d, np.maximum(a * codes + b, 0.0) ** g + e, c * codes + f)


SRGB_CURVE = Curve(parameters=(2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045, 0.0, 0.0))


@dataclass(frozen=True, slots=True)
class ColourProfile:
    """What codes mean: a curve per channel, then `matrix` to linear BT.709 primaries (None: they are those already).

    `note` says what was assumed where the embedded profile is of no use; empty otherwise.
    """

    name: str
    curves: tuple[Curve, Curve, Curve]
    matrix: Matrix | None = None
    note: str = ""


def to_d50(primaries: tuple[tuple[float, float], ...]) -> NDArray[np.float64]:
    """Return linear RGB (D65 white) -> XYZ of the D50 connection space, shape (3, 3)."""
    xyz = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in primaries]).T
    x, y = _D65_XY
    white = np.array([x / y, 1.0, (1 - x - y) / y])
    rgb_to_xyz = xyz * np.linalg.solve(xyz, white)
    adapt = np.linalg.solve(_BRADFORD, np.diag((_BRADFORD @ _D50) / (_BRADFORD @ white)) @ _BRADFORD)
    d50: NDArray[np.float64] = adapt @ rgb_to_xyz
    return d50


_SRGB_D50 = to_d50(_SRGB_XY)


def to_bt709(colorants: NDArray[np.float64]) -> Matrix | None:
    """Return the matrix to linear BT.709 from colorants (columns, XYZ D50), white kept white; None where it is identity."""
    matrix = np.linalg.solve(_SRGB_D50, colorants)
    with np.errstate(all="ignore"):
        matrix /= matrix.sum(axis=1, keepdims=True)
    if not np.isfinite(matrix).all():
        raise ValueError("colorants without a white")
    if np.abs(matrix - np.eye(3)).max() < _NEAR_MATRIX:
        return None
    return tuple(tuple(float(v) for v in row) for row in matrix)


SRGB = ColourProfile("sRGB", (SRGB_CURVE, SRGB_CURVE, SRGB_CURVE))
_R03_CURVE = Curve(parameters=(563 / 256, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0))
DCF_OPTION = ColourProfile("DCF option colour space", (_R03_CURVE, _R03_CURVE, _R03_CURVE), to_bt709(to_d50(_R03_XY)))


def _assumed(name: str, why: str) -> ColourProfile:
    label = f'The embedded profile "{name}"' if name else "The embedded profile"
    return ColourProfile("sRGB", SRGB.curves, note=f"{label} {why}: sRGB is assumed.")


def _tags(icc: bytes) -> dict[bytes, bytes]:
    (count,) = struct.unpack_from(">I", icc, 128)
    entries = [struct.unpack_from(">4sII", icc, 132 + 12 * i) for i in range(min(count, 200))]
    return {name: icc[start : start + size] for name, start, size in entries}


def _fixed(data: bytes, at: int, count: int) -> tuple[float, ...]:
    return tuple(v / 65536 for v in struct.unpack_from(f">{count}i", data, at))


def _parametric(data: bytes) -> Curve:
    (kind,) = struct.unpack_from(">H", data, 8)
    if kind > 4:
        raise ValueError("unknown parametric curve")
    p = _fixed(data, 12, (1, 3, 4, 5, 7)[kind])
    g, a, b = p[0], *(p[1:3] or (1.0, 0.0))
    if kind < 3:
        rise = p[3] if kind == 2 else 0.0
        return Curve(parameters=(g, a, b, 0.0, -b / a, rise, rise))
    e, f = p[5:7] if kind == 4 else (0.0, 0.0)
    return Curve(parameters=(g, a, b, p[3], p[4], e, f))


def _table(data: bytes) -> Curve:
    (count,) = struct.unpack_from(">I", data, 8)
    if count == 0:
        return Curve()
    values = struct.unpack_from(f">{count}H", data, 12)
    if count == 1:
        return Curve(parameters=(values[0] / 256, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0))
    return Curve(samples=tuple(v / 65535 for v in values))


def _curve(data: bytes) -> Curve:
    """Return the curve of a TRC tag, the true sRGB one where it is as good as that; ValueError where it is no curve."""
    if data[:4] not in (b"para", b"curv"):
        raise ValueError("no curve")
    curve = _parametric(data) if data[:4] == b"para" else _table(data)
    light = curve.light(_PROBE)
    if not np.isfinite(light).all() or not 0.5 < light[-1] < 2.0 or light[0] > 0.2:
        raise ValueError("a curve that leads nowhere")
    return SRGB_CURVE if np.abs(light - SRGB_CURVE.light(_PROBE)).max() < _NEAR_CURVE else curve


def _name(tags: dict[bytes, bytes]) -> str:
    """Return the description of a profile, version 2 or 4; empty where there is none."""
    data = tags.get(b"desc", b"")
    if data[:4] == b"mluc" and len(data) >= 28:
        size, start = struct.unpack_from(">II", data, 20)
        return data[start : start + size].decode("utf-16-be", "replace").strip("\0 ")
    if data[:4] == b"desc" and len(data) >= 12:
        (size,) = struct.unpack_from(">I", data, 8)
        return data[12 : 12 + size].decode("latin-1").strip("\0 ")
    return ""


@lru_cache(maxsize=32)
def parse_profile(icc: bytes) -> ColourProfile:
    """Return what an embedded ICC profile says of RGB codes; sRGB, with a note, where it can't be used. Never raises."""
    name = ""
    try:
        if icc[36:40] != b"acsp":
            return _assumed(name, "is damaged")
        tags = _tags(icc)
        name = _name(tags)
        if icc[16:20] != b"RGB " or icc[20:24] != b"XYZ " or not {b"rTRC", b"gTRC", b"bTRC", b"rXYZ"} <= tags.keys():
            return _assumed(name, "is not of the plain matrix kind")
        red, green, blue = (_curve(tags[tag]) for tag in (b"rTRC", b"gTRC", b"bTRC"))
        colorants = np.array([_fixed(tags[tag], 8, 3) for tag in (b"rXYZ", b"gXYZ", b"bXYZ")]).T
        return ColourProfile(name or "unnamed", (red, green, blue), to_bt709(colorants))
    except (struct.error, ValueError, LookupError, ArithmeticError, np.linalg.LinAlgError):
        return _assumed(name, "is damaged")


@lru_cache(maxsize=8)
def light_table(profile: ColourProfile, levels: int) -> NDArray[np.float32]:
    """Return linear light for every integer code, before the matrix, shape (levels, 3); levels is 256 or 65536."""
    codes = np.linspace(0.0, 1.0, levels)
    columns = [srgb_table(levels) if curve == SRGB_CURVE else curve.light(codes) for curve in profile.curves]
    table = np.stack(columns, axis=1).astype(np.float32)
    table.flags.writeable = False
    return table
