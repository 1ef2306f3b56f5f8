"""White balance: from a light's temperature and tint to the multipliers of a camera, back, and on to film primaries.

Multipliers are of R, G, B with G = 1. Tint is 1000 times Duv, the light's distance from the Planckian locus in CIE 1960
(u, v), positive above it, where light is greenish (ANSI C78.377). The locus is Krystek's approximation (Color Research and
Application 10, 1985, p. 38), within 8e-5 in (u, v) from 1000 to 15000 K; values beyond are held there.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

Multipliers = tuple[float, float, float]
Matrix = tuple[tuple[float, float, float], ...]
"""Three rows of three."""
Floats = NDArray[np.float64]

COLDEST_K, HOTTEST_K = 1000.0, 15000.0
MOST_TINT = 150.0
"""Either way: far beyond any light that a night is seen in."""
D65 = (0.3127, 0.3290)
"""Chromaticity of the white of BT.709 and BT.2020 (items 1.4 and 2 of the recommendations)."""
_PRIMARIES = {
    "BT.709": ((0.640, 0.330), (0.300, 0.600), (0.150, 0.060)),  # Rec. ITU-R BT.709-6 item 1.3
    "BT.2020": ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046)),  # Rec. ITU-R BT.2020-2 table 3
}
_LEAST_RESPONSE = 1e-3  # of a channel against the strongest: lights no camera can be balanced for


class BalanceKind(StrEnum):
    """Where the white balance of a shot comes from."""

    AS_SHOT = "as shot"
    DAYLIGHT = "daylight"
    CUSTOM = "custom"
    GREY = "grey"


@dataclass(frozen=True, slots=True)
class Balance:
    """The one white balance of a shot.

    `multipliers` are those of the chosen frame ("as shot") or of the picked spot ("grey"); `temperature_k` and `tint` are
    the light's for "custom". What a kind does not use is kept and ignored.
    """

    kind: BalanceKind = BalanceKind.AS_SHOT
    multipliers: Multipliers | None = None
    temperature_k: float = 5000.0
    tint: float = 0.0

    def for_camera(self, matrix: Matrix, daylight: Multipliers | None = None) -> Multipliers:
        """Return the multipliers for a camera: its XYZ to camera `matrix`, and the maker's own `daylight` if known.

        A balance "as shot" or "grey" without multipliers is daylight.
        """
        if self.kind is BalanceKind.CUSTOM:
            return temperature_multipliers(self.temperature_k, self.tint, matrix)
        if self.kind is not BalanceKind.DAYLIGHT and self.multipliers is not None:
            return self.multipliers
        return daylight or white_multipliers(matrix, D65)


def locus_uv(temperature_k: float) -> Floats:
    """Return (u, v) of CIE 1960 of a black body, (2,); Krystek 1985, held at 1000 and 15000 K."""
    t = min(max(temperature_k, COLDEST_K), HOTTEST_K)
    u = (0.860117757 + 1.54118254e-4 * t + 1.28641212e-7 * t * t) / (1 + 8.42420235e-4 * t + 7.08145163e-7 * t * t)
    v = (0.317398726 + 4.22806245e-5 * t + 4.20481691e-8 * t * t) / (1 - 2.89741816e-5 * t + 1.61456053e-7 * t * t)
    return np.array([u, v])


def _upward(temperature_k: float) -> Floats:
    """Return the unit vector square to the locus, towards larger v."""
    t = min(max(temperature_k, COLDEST_K * 1.001), HOTTEST_K / 1.001)
    du, dv = locus_uv(t * 1.0005) - locus_uv(t / 1.0005)
    upward: Floats = np.array([dv, -du]) / np.hypot(du, dv) * (1 if du < 0 else -1)
    return upward


def light_xy(temperature_k: float, tint: float = 0.0) -> tuple[float, float]:
    """Return the CIE 1931 chromaticity of a light."""
    u, v = locus_uv(temperature_k) + _upward(temperature_k) * tint / 1000
    below = 2 * u - 8 * v + 4  # CIE 015:2018: x and y of CIE 1960 (u, v)
    return float(3 * u / below), float(2 * v / below)


def light_of(xy: tuple[float, float]) -> tuple[float, float]:
    """Return temperature (K) and tint of a chromaticity: the inverse of `light_xy` from 1000 to 15000 K."""
    x, y = xy
    below = -2 * x + 12 * y + 3
    uv = np.array([4 * x / below, 6 * y / below])

    def distance(log_t: float) -> float:
        return float(np.hypot(*(uv - locus_uv(float(np.exp(log_t))))))

    grid = np.linspace(np.log(COLDEST_K), np.log(HOTTEST_K), 200)
    near = int(np.argmin([distance(log_t) for log_t in grid]))
    bounds = grid[max(near - 1, 0)], grid[min(near + 1, grid.size - 1)]
    nearest = float(np.exp(minimize_scalar(distance, bounds=bounds, method="bounded", options={"xatol": 1e-9}).x))
    return nearest, 1000 * float((uv - locus_uv(nearest)) @ _upward(nearest))


def white_multipliers(matrix: Matrix, xy: tuple[float, float]) -> Multipliers:
    """Return the multipliers that make light of a chromaticity neutral; `matrix` is XYZ to camera."""
    x, y = xy
    seen = np.array(matrix) @ np.array([x / y, 1.0, (1 - x - y) / y])
    seen = np.maximum(seen, _LEAST_RESPONSE * max(float(seen.max()), 1e-9))
    return float(seen[1] / seen[0]), 1.0, float(seen[1] / seen[2])


def temperature_multipliers(temperature_k: float, tint: float, matrix: Matrix) -> Multipliers:
    """Return the multipliers for a light's temperature (K) and tint."""
    return white_multipliers(matrix, light_xy(temperature_k, tint))


def temperature_of(multipliers: Multipliers, matrix: Matrix) -> tuple[float, float]:
    """Return temperature (K) and tint of the light that `multipliers` make neutral."""
    x, y, z = np.linalg.solve(np.array(matrix), 1 / np.array(multipliers))
    total = x + y + z
    return light_of((float(x / total), float(y / total)))


def grey_multipliers(multipliers: Multipliers, to_rgb: Matrix, picked: NDArray[Any]) -> Multipliers:
    """Return multipliers that make a `picked` linear colour grey, (3,), as developed with `multipliers` and `to_rgb`.

    ValueError where the spot is too dark in a channel to tell.
    """
    balanced = np.linalg.solve(np.array(to_rgb), np.asarray(picked, float))
    if not balanced.min() > _LEAST_RESPONSE * abs(balanced).max():
        raise ValueError("the picked spot is too dark or too strongly coloured to be grey")
    red, green, blue = np.array(multipliers) / balanced
    return float(red / green), 1.0, float(blue / green)


def recolouring(matrix: Matrix, made: Multipliers, wanted: Multipliers) -> Matrix:
    """Return the matrix of linear BT.709 light developed with the multipliers `made` to that developed with `wanted`.

    `matrix` is XYZ to camera. Exact where nothing is clipped and the camera's channels span alike: white is then where the
    least multiplied one is full, see `mosaic.development`.
    """
    to_rgb = np.array(camera_to_rgb(matrix))
    ratio = np.array(wanted) / np.array(made) * (min(made) / min(wanted))
    return as_matrix(to_rgb @ np.diag(ratio) @ np.linalg.inv(to_rgb))


def rgb_to_xyz(primaries: str) -> Floats:
    """Return the matrix of linear R, G, B of "BT.709" or "BT.2020" to XYZ, white (D65) of Y = 1; SMPTE RP 177-1993."""
    columns = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in _PRIMARIES[primaries]]).T
    white = np.array([D65[0] / D65[1], 1.0, (1 - D65[0] - D65[1]) / D65[1]])
    return columns * np.linalg.solve(columns, white)


def camera_to_rgb(matrix: Matrix, primaries: str = "BT.709") -> Matrix:
    """Return the matrix of balanced camera R, G, B to linear BT.709 or BT.2020; neutral (1, 1, 1) stays.

    `matrix` is XYZ to camera. Balanced under D65 it is the exact inverse; other lights are adapted in camera R, G, B.
    """
    to_camera = np.array(matrix) @ rgb_to_xyz(primaries)
    inverse = np.linalg.inv(to_camera / to_camera.sum(axis=1, keepdims=True))
    return as_matrix(inverse)


def as_matrix(values: NDArray[Any]) -> Matrix:
    """Return a (3, 3) array as plain numbers."""
    return tuple((float(a), float(b), float(c)) for a, b, c in values)
