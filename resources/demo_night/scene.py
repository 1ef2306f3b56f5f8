"""The scene in linear light: sky, ground lit by the sky, mirror in the water, lamp, and one frame's headlamp."""

from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from demo_night.aurora import render_aurora
from demo_night.ground import Ground, ground, mirror_maps
from demo_night.lens import HEIGHT, WIDTH, Image, air_transmission, directions, mean_luminance, vignette
from demo_night.plan import QUIET_EV, STRAY_LIGHT_FRAME, PlannedFrame
from demo_night.stars import render_stars

_MIRROR_WEIGHTS = (0.20, 0.22, 0.20, 0.15, 0.11, 0.07, 0.05)
_SNOW_SHARE = 0.75
_AIRGLOW_SHARE = 0.40
"""Airglow's part of the quiet night's mean luminance."""

_ZENITH = np.array([0.40, 0.80, 1.75], np.float32)
_LOW_SKY = np.array([0.62, 1.08, 1.40], np.float32)
_TOWN = np.array([1.0, 0.62, 0.30], np.float32)
_LAMP = np.array([1.0, 0.50, 0.16], np.float32)
_LAMP_LIGHT = 5.5e-3
"""Light of the window per unit exposure."""

_HEADLAMP = np.array([1.0, 0.84, 0.58], np.float32)
_HEADLAMP_LIGHT = 9.0e-3


def _shaded(share: Image, light: NDArray[np.floating], albedo: Image) -> Image:
    return np.asarray((share * albedo)[:, :, None] * light.astype(np.float32), np.float32)


def _sky_light(sky: Image) -> NDArray[np.float32]:
    """Light (3,) that a white level surface gives back under `sky`: its mean, weighted by the height above ground."""
    weight = np.clip(np.sin(directions(WIDTH, HEIGHT)[1]), 0, None) ** 0.5
    total = (sky * weight[:, :, None]).sum(axis=(0, 1), dtype=np.float64) / weight.sum(dtype=np.float64)
    return np.asarray(_SNOW_SHARE * total, np.float32)


def _mirror(above: Image, place: Ground) -> Image:
    """The sky and ridge in the rippled water."""
    total = np.zeros_like(above)
    for weight, (column, row) in zip(_MIRROR_WEIGHTS, mirror_maps(), strict=True):
        total += np.float32(weight) * cv2.remap(above, column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    return np.asarray(total * (place.water * place.water_gain)[:, :, None], np.float32)


def compose(sky: Image) -> Image:
    """Put the ground under a sky, lit by that sky alone; linear, so skies may be composed one by one and added."""
    place = ground()
    light = _sky_light(sky)
    above = sky * (1 - place.ridge)[:, :, None] + _shaded(place.ridge, light, place.ridge_albedo)
    picture = above * (1 - np.maximum(place.water, place.shore))[:, :, None] + _mirror(above, place)
    picture = picture + _shaded(place.shore, light, place.shore_albedo)
    for share, albedo in ((place.dark, place.dark_albedo), (place.roof, place.shore_albedo)):
        picture = picture * (1 - share)[:, :, None] + _shaded(share, light, albedo)
    return np.asarray(picture, np.float32)


@cache
def _airglow() -> Image:
    """The moonless sky without stars, scaled to its part of the quiet night, with ground."""
    azimuth, elevation = directions(WIDTH, HEIGHT)
    low = np.exp(-np.clip(elevation, 0, None) / 0.30)[:, :, None]
    sky = (1 - low) * _ZENITH + low * _LOW_SKY * 1.5
    town = np.exp(-(((azimuth - 0.55) / 0.35) ** 2) - (np.clip(elevation, 0, None) / 0.10))[:, :, None]
    sky = (sky + 1.3 * town * _TOWN) * (elevation > 0)[:, :, None] * air_transmission(elevation)[:, :, None]
    picture = compose(sky.astype(np.float32)) * vignette()[:, :, None]
    return np.asarray(picture * (_AIRGLOW_SHARE * 2.0**QUIET_EV / mean_luminance(picture)), np.float32)


@cache
def _lamps() -> Image:
    place = ground()
    glow = place.window + 0.05 * cv2.GaussianBlur(place.window, (0, 0), 7.0) + 0.035 * place.window_spill
    return np.asarray((_LAMP_LIGHT * glow * vignette())[:, :, None] * _LAMP, np.float32)


def _starlight(frame: PlannedFrame) -> Image:
    place = ground()
    free = (1 - place.ridge) * (1 - place.dark) * (1 - place.roof) * vignette()
    return np.asarray(render_stars(frame) * free[:, :, None], np.float32)


def render_scene(frame: PlannedFrame) -> Image:
    """The noise-free scene per unit exposure, linear RGB (height, width, 3), headlamp left out.

    Its mean luminance is 2^`scene_ev` of the plan: the aurora fills what airglow, stars and lamp leave.
    """
    still = _airglow() + _starlight(frame) + _lamps()
    aurora = compose(render_aurora(frame)) * vignette()[:, :, None]
    missing = 2.0**frame.scene_ev - mean_luminance(still)
    return np.asarray(still + aurora * np.float32(missing / mean_luminance(aurora)), np.float32)


def render_headlamp(frame: PlannedFrame) -> Image:
    """Stray light of a headlamp that sweeps the shore, linear RGB per unit exposure; black in all other frames."""
    if frame.index != STRAY_LIGHT_FRAME:
        return np.zeros((HEIGHT, WIDTH, 3), np.float32)
    place = ground()
    row, column = np.mgrid[0:HEIGHT, 0:WIDTH].astype(np.float32)
    x, y = column - 470.0, row - 655.0
    reach, turn = np.hypot(x, y), np.arctan2(-y, x) - np.deg2rad(152.0)
    cone = np.exp(-((turn / 0.20) ** 2)) * np.exp(-reach / 420.0)
    pool = np.exp(-(((column - 250) / 190) ** 2) - ((row - 612) / 26) ** 2)
    snow = place.shore * place.shore_albedo * (1 - place.dark) * (0.25 * cone + pool)
    trees = place.dark * (0.35 + 3.0 * place.dark_albedo) * 0.5 * np.exp(-(((column - 95) / 110) ** 2))
    flare = np.exp(-((reach / 46.0) ** 2)) * 2.5 + 0.10 * np.exp(-reach / 160.0) + 0.006
    light = snow + trees + 0.085 * cone * (1 - place.shore) + flare
    return np.asarray(_HEADLAMP_LIGHT * light[:, :, None] * _HEADLAMP, np.float32)
