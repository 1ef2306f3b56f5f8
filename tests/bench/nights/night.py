"""Shoots one night of a family: pictures, what their files tell, and the truth about both."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.sequence import Fault, Frame
from lapsebench.core.shots import gaps
from lapsebench.core.transfer import luminance
from nights.camera import FULL_WELL_E, Camera, Setting, biases
from nights.curves import Codes, tone_curve
from nights.families import Family
from nights.ground import Ground, random_ground
from nights.large import SCALE, large_scene, many_stars
from nights.metadata import Told, told
from nights.photographer import shoot
from nights.realframes import real_scenes, real_settings
from nights.sky import Patches, Sky
from nights.spoilers import Spoiler, spoil, spoilers
from nights.waves import Floats, Image, Random

Bools = NDArray[np.bool_]
_START = datetime(2026, 2, 11, 20, 0, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Night:
    """n frames and the truth about them.

    `codes`: as decoded. `frames`: what the files tell. `scenes`: n of (h, w, 3), linear light at a received exposure of 0.
    `received_ev`, `scene_ev` (log2 of the scenes' mean luminance), `recordable_ev` (the same of what does not clip as
    exposed): (n,) stops. `change`: (n,) bool, the camera exposed otherwise from this frame on. `spoilers`: what was done to
    single frames. `disagree`: frames whose metadata are wrong.
    """

    family: Family
    codes: list[Codes]
    frames: list[Frame]
    scenes: list[Image]
    camera: Camera
    received_ev: Floats
    scene_ev: Floats
    recordable_ev: Floats
    change: Bools
    spoilers: dict[int, Spoiler]
    disagree: tuple[int, ...]
    patches: Patches | None
    times_s: Floats

    @property
    def good(self) -> Bools:
        """Frames that nothing was done to, (n,)."""
        good = np.ones(self.received_ev.size, bool)
        good[list(self.spoilers)] = False
        return good


def shoot_night(family: Family, seed: int) -> Night:
    """Return the night number `seed` of `family`: another sky, camera and photographer each time."""
    random = np.random.default_rng([seed, *family.name.encode()])
    times_s = np.linspace(0, (family.frames - 1) * family.every_s, family.frames)
    spoilt = spoilers(family.frames, random) if family.spoilt else {}
    if spoilt:
        times_s = times_s + 40 * family.every_s * (np.arange(family.frames) >= round(0.8 * family.frames))
    sky, ground = (family.sky(random, times_s), random_ground(random, family.ground)) if family.sky else (None, None)
    scenes = _scenes(family, sky, ground)
    settings = _settings(family, luminance_ev(scenes), random)
    settings, files = told(family.tells, settings, random)
    if family.large and sky and ground:
        stars = many_stars(random)
        scenes = [large_scene(sky, ground, stars, i, setting.names[0]) for i, setting in enumerate(settings)]
    received = received_of(family, settings, seed, random)
    camera = _camera(family, random)
    codes = [
        camera.picture(spoil(scene * np.float32(2.0**ev), spoilt.get(i), random), settings[i].names[2], random)
        for i, (scene, ev) in enumerate(zip(scenes, received, strict=True))
    ]
    change = np.array([False, *(a != b for a, b in itertools.pairwise(settings))])
    patches = sky.patches if sky else None
    frames = frames_of(files, times_s)
    seen = camera, received, luminance_ev(scenes), recordable_ev(scenes, received), change
    return Night(family, codes, frames, scenes, *seen, spoilt, files.disagree, patches, times_s)


def _scenes(family: Family, sky: Sky | None, ground: Ground | None) -> list[Image]:
    """Return the scenes, of a large family small ones without stars."""
    if sky is None or ground is None:
        return real_scenes(family.real, family.frames)
    count = 1 if family.steady else sky.times_s.size
    drawn = [ground.under(sky.drawn(i, stars=not family.large)) for i in range(count)]
    return drawn * family.frames if family.steady else drawn


def luminance_ev(scenes: list[Image]) -> Floats:
    """Return log2 of the mean luminance of each scene, (n,) stops."""
    return np.array([np.log2(luminance(scene).mean(dtype=float)) for scene in scenes])


def recordable_ev(scenes: list[Image], received_ev: Floats) -> Floats:
    """Return log2 of the mean luminance of what a picture can hold of each scene, exposed so, (n,) stops.

    A Moon's disc beyond white is of the same light in every picture, however bright it is.
    """
    held = [np.minimum(scene, np.float32(2.0**-ev)) for scene, ev in zip(scenes, received_ev, strict=True)]
    return luminance_ev(held)


def _camera(family: Family, random: Random) -> Camera:
    well_e = FULL_WELL_E / SCALE**2 if family.large else FULL_WELL_E
    black = family.black * float(random.choice([-1.0, 0.7, 1.0]))
    return Camera(tone_curve(family.tone, random), deep=family.deep, black=black, well_e=well_e)


def _settings(family: Family, scene_ev: Floats, random: Random) -> list[Setting]:
    if family.real:
        return real_settings(family.frames, random)
    settings = shoot(scene_ev, family.habit, random)
    return [settings[0]] * len(settings) if family.steady else settings


def received_of(family: Family, settings: list[Setting], seed: int, random: Random) -> Floats:
    """Return marks + bias + flicker, (n,) stops; flicker's sd runs through 0..0.1 stop with the seed."""
    sd = family.flicker_ev if family.flicker_ev is not None else 0.1 * ((seed * 0.37 + random.uniform(0, 0.2)) % 1.0)
    marks = np.array([setting.marks_ev for setting in settings])
    return marks + biases(settings, random) + random.normal(0, sd, marks.size)


def frames_of(files: Told, times_s: Floats) -> list[Frame]:
    """Return the frames as the program gathers them, gaps found."""
    frames = [
        Frame(Path(f"N{i:04}.jpg"), _START + timedelta(seconds=float(time)), *names, camera="Velmar N2")
        for i, (time, names) in enumerate(zip(times_s, files.names, strict=True))
    ]
    for i in gaps(frames):
        frames[i] = replace(frames[i], faults=frozenset({Fault.GAP}))
    return frames
