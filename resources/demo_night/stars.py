"""Some hundred stars that turn about the celestial pole and twinkle."""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from demo_night.lens import HEIGHT, WIDTH, Image, air_transmission, project
from demo_night.plan import SEED, PlannedFrame

_LATITUDE = np.deg2rad(66.0)
_TURN_PER_S = 2 * np.pi / 86164.1
_COUNT = 2600
_FAINTEST = 6.2
_SPOT_PX = 0.85
_RADIUS = 4
_FLUX = 1.5e-1
"""Light of a star of magnitude 0 per unit exposure, summed over its pixels."""


@dataclass(frozen=True)
class _Catalogue:
    hour_angle: NDArray[np.float64]
    declination: NDArray[np.float64]
    flux: NDArray[np.float64]
    colour: NDArray[np.float64]


@cache
def _catalogue() -> _Catalogue:
    """Invented stars over the northern sky: three times as many per magnitude, from blue-white to orange."""
    rng = np.random.default_rng([SEED, 2])
    magnitude = _FAINTEST + np.log10(rng.uniform(2e-4, 1.0, _COUNT)) / 0.48
    warmth = np.clip(rng.normal(0.0, 0.5, _COUNT), -1.0, 1.2)[:, None]
    colour = np.exp(warmth * np.array([0.30, 0.0, -0.45]) + np.array([-0.05, 0.0, 0.12]))
    return _Catalogue(
        hour_angle=rng.uniform(0, 2 * np.pi, _COUNT),
        declination=np.arcsin(rng.uniform(-0.3, 1.0, _COUNT)),
        flux=_FLUX * 10 ** (-0.4 * magnitude),
        colour=colour,
    )


def star_directions(seconds: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Azimuth and elevation in radians of all stars, `seconds` after the first frame."""
    stars = _catalogue()
    hour = stars.hour_angle + _TURN_PER_S * seconds
    north = np.cos(_LATITUDE) * np.sin(stars.declination) - np.sin(_LATITUDE) * np.cos(stars.declination) * np.cos(hour)
    east = -np.cos(stars.declination) * np.sin(hour)
    up = np.sin(_LATITUDE) * np.sin(stars.declination) + np.cos(_LATITUDE) * np.cos(stars.declination) * np.cos(hour)
    return np.arctan2(east, north), np.arcsin(np.clip(up, -1, 1))


def render_stars(frame: PlannedFrame) -> Image:
    """The stars of one frame at mid-exposure, linear RGB (height, width, 3) per unit exposure."""
    stars = _catalogue()
    azimuth, elevation = star_directions(frame.start_s + frame.setting.true_shutter_s / 2)
    column, row, seen = project(azimuth, elevation)
    seen &= (elevation > 0.02) & (column > -3) & (column < WIDTH + 2) & (row > -3) & (row < HEIGHT + 2)
    rng = np.random.default_rng([SEED, 3, frame.index])
    twinkle = np.exp(rng.normal(0, 0.06 / frame.setting.true_shutter_s**0.25, _COUNT))
    flux = (stars.flux * twinkle * air_transmission(elevation))[:, None] * stars.colour
    return _spots(column[seen].astype(np.float64), row[seen].astype(np.float64), flux[seen])


def _spots(column: NDArray[np.float64], row: NDArray[np.float64], flux: NDArray[np.float64]) -> Image:
    """Gaussian spots of given (n, 3) flux at sub-pixel places."""
    padded = np.zeros((HEIGHT + 4 * _RADIUS, WIDTH + 4 * _RADIUS, 3), np.float64)
    reach = np.arange(-_RADIUS, _RADIUS + 1)
    for x, y, light in zip(column, row, flux, strict=True):
        left, top = round(x), round(y)
        across = np.exp(-((reach + left - x) ** 2) / (2 * _SPOT_PX**2))
        down = np.exp(-((reach + top - y) ** 2) / (2 * _SPOT_PX**2))
        spot = np.outer(down, across)
        x0, y0 = left + _RADIUS, top + _RADIUS
        padded[y0 : y0 + len(reach), x0 : x0 + len(reach)] += (spot / spot.sum())[:, :, None] * light
    inner = padded[2 * _RADIUS : -2 * _RADIUS, 2 * _RADIUS : -2 * _RADIUS]
    return inner.astype(np.float32)
