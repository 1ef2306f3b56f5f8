"""Large pictures with as many stars as a camera sees, for what is measured star by star."""

from __future__ import annotations

import cv2
import numpy as np

from nights.ground import Ground
from nights.sky import AIRGLOW, HEIGHT, TWINKLING_EV, WIDTH, Sky, Stars, spread
from nights.waves import Image, Random

SCALE = 3
"""Pixels of a large picture for one of the others."""
_FAINTEST, _BRIGHTEST = 16.0, 400.0  # light of a star, summed over its px, in airglows of one px
_COUNT = 4300  # about 500 of them in view, 60 of more than 100 airglows
_SLOPE = 1.2  # of the number of stars over their light
_TRAIL = 5  # moments of an exposure at which stars are drawn
_BLUR = 0.7  # px, sd of a star's image


def many_stars(random: Random) -> Stars:
    """Return the stars of a large picture, about a pole above it."""
    light = np.minimum(_FAINTEST * random.random(_COUNT) ** (-1 / _SLOPE), _BRIGHTEST) * AIRGLOW
    width, height = SCALE * WIDTH, SCALE * HEIGHT
    pole = (width * random.uniform(0.2, 0.8), -0.2 * height)
    radius, angle = 1.3 * width * np.sqrt(random.random(_COUNT)), random.uniform(0, 2 * np.pi, _COUNT)
    return Stars(pole, radius, angle, light, random, (height, width))


def large_scene(sky: Sky, ground: Ground, stars: Stars, i: int, open_s: float) -> Image:
    """Return the linear light of frame `i`, (h, w, 3), at a camera exposure of 0 stops, the shutter open for `open_s`."""
    small = ground.under(sky.drawn(i, stars=False))
    size = stars.size[1], stars.size[0]
    large = np.maximum(cv2.resize(small, size, interpolation=cv2.INTER_LINEAR), 0)
    clear = 1 - cv2.resize(ground.cover, size, interpolation=cv2.INTER_LINEAR)
    points = trailed(stars, float(sky.times_s[i]), open_s, _BLUR, stars.scintillation) * clear
    return np.asarray(large + points[..., None], np.float32)


def trailed(stars: Stars, time_s: float, open_s: float, blur: float, random: Random) -> Image:
    """Return the light of stars, (h, w), that trail and twinkle while the shutter is open, `blur` px (sd) wide."""
    light = stars.light * np.exp2(random.normal(0, TWINKLING_EV, stars.light.size)) / _TRAIL
    places = [stars.places(time_s + open_s * part / _TRAIL) for part in range(_TRAIL)]
    x, y, of = np.concatenate([np.stack([x, y, light])[:, seen] for x, y, seen in places], axis=1)
    return np.asarray(cv2.GaussianBlur(spread(x, y, of, stars.size), (0, 0), blur), np.float32)
