"""The aurora as the lens sees it: light summed along every line of sight through layers of the upper air."""

from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from demo_night.curtains import MAP_SOUTH, MAP_WEST, footprint
from demo_night.lens import HEIGHT, HORIZON_ROW, WIDTH, Image, air_transmission, directions
from demo_night.plan import PlannedFrame, knots_at

_EARTH_KM = 6371.0
_BASE_KM = 100.0
_FIELD_LEAN = 0.21
"""Kilometres a field line leans south per kilometre of height."""

_LAYERS = np.concatenate([np.arange(92.0, 122.0), 122.0 + (1.022 ** np.arange(80) - 1.0) / 0.022])
"""Heights in km, one apart about the sharp lower border, wider and wider above it."""

_SCALE = 3
_SMALL = (WIDTH * 2 // _SCALE, HEIGHT * 2 // _SCALE)
_ROWS = int(HORIZON_ROW * 2 / _SCALE) + 2

_GREEN = np.array([0.10, 1.00, 0.30])
_RED = np.array([1.00, 0.07, 0.20])
_VIOLET = np.array([0.42, 0.16, 1.00])
_PINK = np.array([1.00, 0.22, 0.62])

_FRINGE = {0: 0.0, 48: 0.0, 57: 0.55, 66: 0.80, 80: 0.3, 95: 0.0, 119: 0.0}
_TALLNESS = {0: 0.55, 46: 0.65, 58: 0.95, 70: 1.0, 90: 0.85, 119: 0.6}


def _ground_distance(elevation: NDArray[np.float32], height_km: float) -> NDArray[np.float64]:
    """Kilometres along the ground to the point below where a line of sight meets the layer at `height_km`."""
    sine = np.sin(np.clip(elevation, 0.0, None).astype(np.float64))
    slant = np.sqrt((_EARTH_KM * sine) ** 2 + 2 * _EARTH_KM * height_km + height_km**2) - _EARTH_KM * sine
    reach = slant * np.sqrt(1.0 - sine**2) / (_EARTH_KM + height_km)
    return np.asarray(_EARTH_KM * np.arcsin(np.clip(reach, -1, 1)), np.float64)


@cache
def _layer_maps() -> list[tuple[NDArray[np.int16], NDArray[np.uint16]]]:
    """For every layer, where each pixel of the small picture looks up the footprint."""
    azimuth, elevation = (angle[:_ROWS] for angle in directions(*_SMALL))
    maps = []
    for height_km in _LAYERS:
        distance = _ground_distance(elevation, float(height_km))
        east = distance * np.sin(azimuth) - MAP_WEST
        north = distance * np.cos(azimuth) + _FIELD_LEAN * (height_km - _BASE_KM) - MAP_SOUTH
        fixed = cv2.convertMaps(east.astype(np.float32), north.astype(np.float32), cv2.CV_16SC2)
        maps.append((np.asarray(fixed[0], np.int16), np.asarray(fixed[1], np.uint16)))
    return maps


def _rise(height_km: float, foot_km: float, width_km: float) -> float:
    return float(1.0 / (1.0 + np.exp(-(height_km - foot_km) / width_km)))


def _layer_colours(height_km: float, *, fringe: float, tallness: float) -> NDArray[np.float32]:
    """Matrix (3, 3): RGB emitted per kilometre at a height from low curtain, tall rays and slow red."""
    low = _rise(height_km, 101.5, 1.3) * np.exp(-max(height_km - 104.0, 0.0) / 11.0)
    tall = _rise(height_km, 106.0, 3.0) * np.exp(-max(height_km - 112.0, 0.0) / 40.0) * 0.46 * tallness
    red = np.exp(-(((height_km - 235.0) / 48.0) ** 2)) * 0.042 * tallness
    pink = np.exp(-(((height_km - 97.6) / 2.4) ** 2)) * fringe
    upper = np.clip((height_km - 150.0) / 120.0, 0.0, 1.0)
    tall_colour = (1 - upper) * _GREEN + upper * (0.75 * _VIOLET + 0.35 * _RED)
    return np.column_stack([low * _GREEN + pink * _PINK, tall * tall_colour, red * (_RED + 0.12 * _VIOLET)]).astype(
        np.float32
    )


@cache
def _path_weight() -> Image:
    """How much longer than a layer is thick the line of sight runs in it, and what the air leaves of its light."""
    elevation = directions(*_SMALL)[1][:_ROWS]
    high = np.cos(np.clip(elevation, 0.0, None)) * _EARTH_KM / (_EARTH_KM + 130.0)
    return np.asarray(air_transmission(elevation) / np.sqrt(1.0 - high**2), np.float32)


def render_aurora(frame: PlannedFrame) -> Image:
    """The aurora alone, linear RGB (height, width, 3), in units of its own; nothing below the horizon."""
    ground = footprint(frame.index, frame.tau, frame.pace * frame.setting.true_shutter_s)
    fringe, tallness = knots_at(_FRINGE, frame.index), knots_at(_TALLNESS, frame.index)
    thickness = np.gradient(_LAYERS)
    small = np.zeros((_ROWS, _SMALL[0], 3), np.float32)
    for height_km, thick_km, (where, fraction) in zip(_LAYERS, thickness, _layer_maps(), strict=True):
        seen = cv2.remap(ground, where, fraction, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
        colours = _layer_colours(float(height_km), fringe=fringe, tallness=tallness) * np.float32(thick_km)
        small += cv2.transform(seen, colours)
    small *= _path_weight()[:, :, None]
    full = np.zeros((_SMALL[1], _SMALL[0], 3), np.float32)
    full[:_ROWS] = small
    large = cv2.resize(full, (WIDTH, HEIGHT), interpolation=cv2.INTER_CUBIC)
    return np.clip(np.asarray(large, np.float32), 0.0, None)
