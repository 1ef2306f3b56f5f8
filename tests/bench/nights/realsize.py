"""Nights as a camera of 24 megapixels sees them: as many stars, as much light and as much noise as there really are.

A star of magnitude 0 sends 8.8e9 photons of the V band a second through a square metre above the air (from memory of
handbooks: 3640 Jy, 16 % wide); four in ten of them become electrons. How many stars are brighter than a magnitude over the
whole sky is from memory, too, of the count tables of handbooks.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from math import log2

import cv2
import numpy as np

from nights.camera import Camera, Setting
from nights.curves import Codes, tone_curve
from nights.families import Family
from nights.ground import Ground, random_ground
from nights.large import trailed
from nights.metadata import told
from nights.night import Night, frames_of, luminance_ev, received_of, recordable_ev
from nights.photographer import shoot
from nights.sky import Sky, Stars
from nights.waves import Floats, Image, Random

WIDTH, HEIGHT = 6000, 4000
FULL_WELL_E, READ_NOISE_E = 60_000.0, 3.0
"""Electrons at white at ISO 100 and rms of reading, of one px."""
SKY_EV = -2.6
"""Stops by which these skies are darker than the small pictures': a quiet sky of 20.4 magnitudes a square second of arc."""
_BRIGHTER = {-1: 1, 0: 4, 1: 15, 2: 48, 3: 171, 4: 513, 5: 1602, 6: 4800, 7: 14_000, 8: 42_000, 9: 121_000}
_IN_VIEW = 0.112  # share of the sky that 20 mm see on 36 x 24 mm
_DISC = 1.3  # widths about the pole within which stars are drawn
_MAGNITUDE_5 = 0.18  # light summed over its px, white 1, at an exposure of 0 stops through 20 mm
_BLUR = 1.0  # px, sd of a star's image


@dataclass(frozen=True, slots=True)
class RealSize:
    """A night whose pictures are made one at a time; `night` holds its truth and no pictures."""

    night: Night
    sky: Sky
    ground: Ground
    stars: Stars
    settings: list[Setting]
    seed: int

    def light(self, i: int) -> Image:
        """Return the linear light of frame `i` as exposed, (h, w, 3), white at 1."""
        small = self.ground.under(self.sky.drawn(i, stars=False)) * np.float32(2.0**SKY_EV)
        large = cv2.resize(small, (WIDTH, HEIGHT), interpolation=cv2.INTER_CUBIC)
        clear = 1 - cv2.resize(self.ground.cover, (WIDTH, HEIGHT), interpolation=cv2.INTER_LINEAR)
        large = large + (self._points(i) * clear)[..., None]
        return np.asarray(np.maximum(large, 0) * np.float32(2.0 ** self.night.received_ev[i]), np.float32)

    def _points(self, i: int) -> Image:
        """Return the light of the stars, (h, w), trailed over the time the shutter is open."""
        random = np.random.default_rng([self.seed, i, 1])
        return trailed(self.stars, float(self.night.times_s[i]), self.settings[i].names[0], _BLUR, random)

    def codes(self, i: int) -> Codes:
        """Return the 8-bit codes of frame `i`, (h, w, 3), with the sensor's noise."""
        random = np.random.default_rng([self.seed, i, 2])
        light, white_e = self.light(i), np.float32(FULL_WELL_E * 100 / self.settings[i].names[2])
        for c in range(3):
            sd = np.sqrt(light[..., c] / white_e + np.float32(READ_NOISE_E / white_e) ** 2)
            light[..., c] += sd * random.standard_normal(sd.shape, np.float32)
        return np.asarray(np.rint(255 * self.night.camera.curve(light)), np.uint8)


def real_size_night(family: Family, seed: int) -> RealSize:
    """Return the night number `seed` of `family`, drawn apart from its small ones; real and spoilt families are not."""
    random = np.random.default_rng([seed, 24, *family.name.encode()])
    times_s = np.linspace(0, (family.frames - 1) * family.every_s, family.frames)
    assert family.sky is not None
    sky, ground = family.sky(random, times_s), random_ground(random, family.ground)
    stars = _stars(random)
    scenes = [ground.under(sky.drawn(i, stars=False)) * np.float32(2.0**SKY_EV) for i in range(family.frames)]
    longest = int(3 * log2(0.8 * family.every_s))
    bright_ev = np.array([log2(scene.mean(dtype=float)) for scene in scenes])
    settings = shoot(bright_ev, replace(family.habit, longest=min(longest, family.habit.longest)), random)
    settings, files = told(family.tells, settings, random)
    received = received_of(family, settings, seed, random)
    change = np.array([False, *(a != b for a, b in pairwise(settings))])
    camera = Camera(tone_curve(family.tone, random), well_e=FULL_WELL_E)
    frames = frames_of(files, times_s)
    of_stars = np.array([_mean_light(stars, ground, float(time)) for time in times_s])
    scene_ev, held_ev = (
        np.log2(np.exp2(sky_ev) + of_stars) for sky_ev in (luminance_ev(scenes), recordable_ev(scenes, received))
    )
    seen = camera, received, scene_ev, held_ev, change
    night = Night(family, [], frames, [], *seen, {}, files.disagree, sky.patches, times_s)
    return RealSize(night, sky, ground, stars, settings, seed)


def _mean_light(stars: Stars, ground: Ground, time_s: float) -> float:
    """Return the mean light of a picture that is the stars'."""
    x, y, seen = stars.places(time_s)
    rows = (y[seen] * ground.cover.shape[0] / HEIGHT).astype(int)
    cols = (x[seen] * ground.cover.shape[1] / WIDTH).astype(int)
    return float((stars.light[seen] * (1 - ground.cover[rows, cols])).sum() / (WIDTH * HEIGHT))


def _stars(random: Random) -> Stars:
    magnitudes, numbers = np.array(list(_BRIGHTER)), np.log(list(_BRIGHTER.values()))
    share = _IN_VIEW * np.pi * _DISC**2 * WIDTH / HEIGHT
    count = int(share * max(_BRIGHTER.values()))
    drawn = np.interp(np.log(random.uniform(1, _BRIGHTER[9], count)), numbers, magnitudes)
    pole = (WIDTH * random.uniform(0.2, 0.8), -0.2 * HEIGHT)
    radius, angle = _DISC * WIDTH * np.sqrt(random.random(count)), random.uniform(0, 2 * np.pi, count)
    light: Floats = _MAGNITUDE_5 * 10 ** (-0.4 * (drawn - 5))
    return Stars(pole, radius, angle, light, random, (HEIGHT, WIDTH))
