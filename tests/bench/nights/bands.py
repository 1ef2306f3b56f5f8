"""Steps as film and screen show them, read on the pixels: between all frames, and in shadows, mids and highlights.

A film frame is held against what the same camera makes of the same scene, without noise, at one exposure for both frames of
a pair: the scene's own change cancels, whatever the camera's curve, and whether a gain went through it or not.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from lapsebench.core.curves import Responses
from lapsebench.core.transfer import luminance, srgb_to_linear
from lapsebench.imaging.proxy import tile_means
from nights.meters import at_changes, off_trend
from nights.night import Bools, Night
from nights.program import film_picture
from nights.waves import Floats, Image

_ROWS, _COLS = 24, 36
_DARKEST, _BRIGHTEST = 0.002, 0.7  # linear light in the film: below is noise, above is roll-off
_LEAST_TILES = 12
BANDS = ("shadows", "mids", "highlights")


@dataclass(frozen=True, slots=True)
class Seen:
    """What is seen of the camera in the film, stops: `jitter` rms, mean `step` at changes, and that in each of `BANDS`."""

    jitter: float
    step: float
    bands: Floats


def seen(night: Night, gain_ev: Floats, responses: Responses = (), *, kept: Bools | None = None) -> Seen:
    """Return what is seen of the camera when `gain_ev` (n,) stops is applied, through responses if given; NaN if unknown.

    `kept`: which frames are in the film, (n,); None is all. Of those, the ones that nothing was done to are looked at.
    """
    looked_at = night.good if kept is None else night.good & kept
    good = np.flatnonzero(looked_at)
    film = {int(i): _tiles(film_picture(night.codes[i], float(gain_ev[i]), responses)) for i in good}
    steps = np.array([_steps(night, gain_ev, film, int(a), int(b)) for a, b in pairwise(good)])
    known = np.isfinite(steps[:, 0])
    changed = at_changes(night, looked_at)
    off = off_trend(np.where(known, steps[:, 0], 0.0))
    at = changed & known
    if not at.any():
        return Seen(float(np.sqrt(np.mean(off[known] ** 2))), np.nan, np.full(len(BANDS), np.nan))
    bands = steps[at, 1:] - (steps[at, :1] - off[at, None])
    step, in_bands = float(np.abs(off[at]).mean()), np.abs(bands).mean(axis=0)
    return Seen(float(np.sqrt(np.mean(off[known] ** 2))), step, in_bands)


def _steps(night: Night, gain_ev: Floats, film: dict[int, Image], a: int, b: int) -> Floats:
    """Return the step seen from frame `a` to `b`: of the median tile, and in each band, (4,) stops."""
    pair = [a, b]
    exposure = float((night.received_ev + gain_ev)[pair].mean())
    shown, meant = np.array([film[k] for k in pair]), np.array([_meant(night, k, exposure) for k in pair])
    scene = np.array([_tiles(night.scenes[k]) for k in pair])
    exposed = scene * np.exp2(night.received_ev[pair])[:, None]
    every = np.concatenate([shown, meant])
    sound = (every.min(axis=0) > _DARKEST) & (every.max(axis=0) < _BRIGHTEST) & (exposed.max(axis=0) < _BRIGHTEST)
    if sound.sum() < len(BANDS) * _LEAST_TILES:
        return np.full(1 + len(BANDS), np.nan)
    off = np.log2(shown[1] / meant[1])[sound] - np.log2(shown[0] / meant[0])[sound]
    bands = np.array_split(np.argsort(scene.mean(axis=0)[sound]), len(BANDS))
    return np.array([np.median(off), *(np.median(off[band]) for band in bands)])


def _meant(night: Night, k: int, exposure_ev: float) -> Image:
    """Return the tiles of scene `k` as its camera makes them at a received exposure of `exposure_ev` stops."""
    exposed = night.scenes[k] * np.float32(2.0**exposure_ev) + np.float32(night.camera.black)
    return _tiles(_light_of(night.camera.curve(exposed)))


def _light_of(codes: Image) -> Image:
    """Return the linear light of sRGB codes 0..1, by way of a table."""
    return np.asarray(_TABLE[(codes * (_TABLE.size - 1) + np.float32(0.5)).astype(np.int32)])


_TABLE = srgb_to_linear(np.linspace(0, 1, 1 << 14)).astype(np.float32)


def _tiles(linear: Image) -> Image:
    return np.asarray(luminance(tile_means(linear, _ROWS, _COLS)).ravel() + 1e-9, np.float32)
