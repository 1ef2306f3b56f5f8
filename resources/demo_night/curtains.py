"""The footprint of the aurora: folded curtains on a map of the upper air, seen from above."""

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from demo_night.lens import Image
from demo_night.plan import SEED, knots_at
from demo_night.waves import Waves, make_waves

MAP_WEST, MAP_SOUTH = -820.0, -90.0
MAP_WIDTH, MAP_HEIGHT = 1640, 900
"""The map: 1 km per cell; column 0 is `MAP_WEST`, row 0 is `MAP_SOUTH` km from the camera, rows run north."""

_STEP_KM = 0.2
_LINE = np.arange(-900.0, 900.0, _STEP_KM, dtype=np.float32)
_SHUTTER_SAMPLES = 4

_FOLD = {0: 7.0, 36: 9.0, 48: 17.0, 56: 30.0, 60: 44.0, 70: 44.0, 84: 34.0, 100: 22.0, 119: 15.0}
_RAYS = {0: 0.20, 36: 0.24, 50: 0.50, 57: 0.66, 61: 0.82, 72: 0.82, 90: 0.65, 119: 0.45}
_SOUTHWARD = {0: 0.0, 36: 14.0, 50: 32.0, 57: 58.0, 62: 84.0, 72: 76.0, 90: 36.0, 119: 18.0}
_SURGE_AT = {0: 420.0, 46: 420.0, 54: 260.0, 58: 80.0, 64: -20.0, 76: -160.0, 90: -320.0, 119: -420.0}
_SURGE = {0: 0.0, 44: 0.2, 54: 0.7, 57: 1.1, 61: 1.6, 72: 1.0, 90: 0.4, 119: 0.1}


@dataclass(frozen=True)
class _Curtain:
    """One curtain: its distance to the north in km, how it bends, and how strong it is at each frame."""

    north_km: float
    bend: float
    fold: float
    strength: dict[int, float]
    fold_x: Waves
    fold_y: Waves
    envelope: Waves
    rays: Waves
    heights: Waves


def _curtain(number: int, *, north_km: float, bend: float, fold: float, strength: dict[int, float]) -> _Curtain:
    rng = np.random.default_rng([SEED, 1, number])
    return _Curtain(
        north_km,
        bend,
        fold,
        strength,
        fold_x=make_waves(rng, shortest=110, longest=420, speed=-55, spread=32, count=6),
        fold_y=make_waves(rng, shortest=100, longest=480, speed=-55, spread=32, count=6),
        envelope=make_waves(rng, shortest=120, longest=700, speed=-60, spread=30, count=8),
        rays=make_waves(rng, shortest=5, longest=70, speed=-24, spread=9, count=26),
        heights=make_waves(rng, shortest=9, longest=120, speed=-28, spread=9, count=16),
    )


@cache
def _curtains() -> tuple[_Curtain, ...]:
    return (
        _curtain(1, north_km=262, bend=85, fold=1.0, strength={0: 1.0, 119: 1.0}),
        _curtain(2, north_km=345, bend=95, fold=0.7, strength={0: 0.45, 30: 0.3, 52: 0.4, 66: 0.5, 119: 0.6}),
        _curtain(3, north_km=196, bend=70, fold=1.15, strength={0: 0.0, 47: 0.02, 57: 0.6, 64: 0.8, 82: 0.4, 119: 0.02}),
        _curtain(4, north_km=300, bend=110, fold=1.2, strength={0: 0.0, 44: 0.0, 56: 0.5, 66: 0.7, 90: 0.5, 119: 0.15}),
    )


def _path(curtain: _Curtain, frame: int, tau: float) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """East and north in km of every point of the curtain."""
    fold = knots_at(_FOLD, frame) * curtain.fold
    east = _LINE + 1.15 * fold * curtain.fold_x.at(_LINE, tau)
    north = curtain.north_km - knots_at(_SOUTHWARD, frame) + curtain.bend * (_LINE / 500.0) ** 2
    return east, north + fold * curtain.fold_y.at(_LINE, tau)


def _splat(east: NDArray[np.float32], north: NDArray[np.float32], *lights: NDArray[np.float32]) -> list[Image]:
    """One map for each of `lights`: the points' light, each shared among its four cells."""
    x, y = east - MAP_WEST, north - MAP_SOUTH
    inside = (x >= 0) & (x < MAP_WIDTH - 1) & (y >= 0) & (y < MAP_HEIGHT - 1)
    x, y = x[inside], y[inside]
    column, row = x.astype(np.int64), y.astype(np.int64)
    dx, dy = x - column, y - row
    first = row * MAP_WIDTH + column
    cells = np.concatenate([first, first + 1, first + MAP_WIDTH, first + MAP_WIDTH + 1])
    shares = np.concatenate([(1 - dx) * (1 - dy), dx * (1 - dy), (1 - dx) * dy, dx * dy])
    size = MAP_WIDTH * MAP_HEIGHT
    maps = (np.bincount(cells, weights=shares * np.tile(light[inside], 4), minlength=size) for light in lights)
    return [flat.reshape(MAP_HEIGHT, MAP_WIDTH).astype(np.float32) for flat in maps]


def _light(curtain: _Curtain, frame: int, tau: float) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Light along the curtain low down and in its tall rays."""
    rays = knots_at(_RAYS, frame)
    surge = knots_at(_SURGE, frame) * np.exp(-(((_LINE - knots_at(_SURGE_AT, frame)) / 190.0) ** 2))
    broad = np.exp(0.55 * curtain.envelope.at(_LINE, tau)) * (1.0 + surge) * knots_at(curtain.strength, frame) * _STEP_KM
    low = broad * np.exp(rays * curtain.rays.at(_LINE, tau) - rays**2 / 2)
    tall = low * np.exp(1.3 * rays * curtain.heights.at(_LINE, tau) - 0.85 * rays**2)
    return low.astype(np.float32), tall.astype(np.float32)


def _blur(picture: Image, sigma_km: float) -> Image:
    """Gaussian blur; wide ones on a coarser map, for speed."""
    coarse = max(1, int(sigma_km // 4))
    size = (MAP_WIDTH // coarse, MAP_HEIGHT // coarse)
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA) if coarse > 1 else picture
    small = cv2.GaussianBlur(small, (0, 0), sigma_km / coarse)
    full = cv2.resize(small, (MAP_WIDTH, MAP_HEIGHT), interpolation=cv2.INTER_LINEAR) if coarse > 1 else small
    return np.asarray(full, np.float32)


def footprint(frame: int, tau: float, smear: float) -> Image:
    """Light on the map, (rows north, columns east, 3): low curtain, tall rays, slow red.

    `smear` is how far the aurora's clock runs while the shutter is open.
    """
    points = []
    for moment in tau + smear * (np.arange(_SHUTTER_SAMPLES) + 0.5) / _SHUTTER_SAMPLES:
        for curtain in _curtains():
            if knots_at(curtain.strength, frame) > 1e-3:
                points.append((*_path(curtain, frame, float(moment)), *_light(curtain, frame, float(moment))))
    low, tall = _splat(*(np.concatenate(column) for column in zip(*points, strict=True)))
    glow = _blur(low, 26.0)
    return np.dstack([_blur(low, 1.5) + 0.50 * glow, _blur(tall, 2.2) + 0.24 * glow, _blur(tall, 12.0) + 0.25 * glow])
