"""The lens of the made-up camera: a 12 mm rectilinear lens on a 36 x 24 mm sensor, tilted up towards the north."""

from functools import cache

import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.float32]
"""Linear light: (height, width) or (height, width, 3), RGB with BT.709 primaries."""

WIDTH, HEIGHT = 960, 640
FOCAL_MM = 12.0
FOCAL_PX = FOCAL_MM / 36.0 * WIDTH
TILT = np.deg2rad(30.0)
AIM = np.deg2rad(9.0)
HORIZON_ROW = HEIGHT / 2 + FOCAL_PX * np.tan(TILT)
LUMA = np.array([0.2126, 0.7152, 0.0722], np.float32)
"""BT.709 luminance weights."""


@cache
def directions(width: int, height: int) -> tuple[Image, Image]:
    """Azimuth (from north through east) and elevation in radians of every pixel of a `height` x `width` picture."""
    focal = FOCAL_PX * width / WIDTH
    right = (np.arange(width)[None, :] + 0.5 - width / 2) / focal
    rise = (height / 2 - np.arange(height)[:, None] - 0.5) / focal
    up = rise * np.cos(TILT) + np.sin(TILT)
    ahead = np.cos(TILT) - rise * np.sin(TILT)
    azimuth = np.arctan2(right, ahead) + AIM
    elevation = np.arctan2(up, np.hypot(right, ahead))
    return azimuth.astype(np.float32), elevation.astype(np.float32)


def project(azimuth: NDArray[np.floating], elevation: NDArray[np.floating]) -> tuple[Image, Image, NDArray[np.bool_]]:
    """Column and row (pixel centres at whole numbers) of directions in radians, and whether they lie before the lens."""
    right = np.cos(elevation) * np.sin(azimuth - AIM)
    level = np.cos(elevation) * np.cos(azimuth - AIM)
    depth = level * np.cos(TILT) + np.sin(elevation) * np.sin(TILT)
    rise = np.sin(elevation) * np.cos(TILT) - level * np.sin(TILT)
    seen = depth > 0.1
    depth = np.where(seen, depth, 1.0)
    column = WIDTH / 2 + FOCAL_PX * right / depth - 0.5
    row = HEIGHT / 2 - FOCAL_PX * rise / depth - 0.5
    return column.astype(np.float32), row.astype(np.float32), seen


@cache
def vignette() -> Image:
    """Fall-off towards the corners, (height, width), 1 in the middle."""
    x = (np.arange(WIDTH)[None, :] + 0.5 - WIDTH / 2) / (WIDTH / 2)
    y = (np.arange(HEIGHT)[:, None] + 0.5 - HEIGHT / 2) / (WIDTH / 2)
    return np.asarray(1.0 / (1.0 + 0.28 * (x**2 + y**2)) ** 2, np.float32)


def air_transmission(elevation: NDArray[np.floating]) -> Image:
    """Share of light that comes through the air at `elevation` radians (0.13 per air mass, softened at the horizon)."""
    height = np.clip(elevation, 0.0, None)
    return np.asarray(np.exp(-0.13 / (np.sin(height) + 0.06)), np.float32)


def mean_luminance(picture: Image) -> float:
    """Mean BT.709 luminance of a linear (height, width, 3) picture."""
    return float(picture.reshape(-1, 3).mean(axis=0, dtype=np.float64) @ LUMA)
