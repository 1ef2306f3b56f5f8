"""The ground of a made-up night: hills, snow and trees lit by the sky above them, and a few lamps of their own."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from nights.sky import AIRGLOW, HEIGHT, WIDTH
from nights.waves import Image, Random, random_field, random_waves

_LAMP_RGB = np.array([1.0, 0.6, 0.25], np.float32)


@dataclass(frozen=True, slots=True)
class Ground:
    """`cover`: (h, w), 0 sky .. 1 ground. `albedo`: (h, w, 3), light of the ground under a sky of mean light 1.

    `lamps`: (h, w, 3), linear light of windows and lamps at a camera exposure of 0 stops.
    """

    cover: Image
    albedo: Image
    lamps: Image

    def under(self, sky: Image) -> Image:
        """Return the whole picture, (h, w, 3): `sky` above, and the ground lit by it (overhead light counts as seen)."""
        lit = self.albedo * sky.mean(axis=(0, 1)) + self.lamps
        covered = self.cover[..., None]
        whole: Image = sky * (1 - covered) + lit * covered
        return whole


def random_ground(random: Random, share: float) -> Ground:
    """Return ground over about `share` 0..1 of the picture's height; none at 0."""
    up = 1 - np.mgrid[0:HEIGHT, 0:WIDTH][0] / HEIGHT
    skyline = share * (1 + random_waves(random, 6, numbers=(1, 20), speed=0, height=0.1).at(np.linspace(0, 1, WIDTH), 0))
    cover = np.clip((skyline - up) * HEIGHT + 0.5, 0, 1) if share > 0 else np.zeros((HEIGHT, WIDTH))
    rough = random_field(random, (HEIGHT, WIDTH), 3.0)
    trees = random_field(random, (HEIGHT, WIDTH), 8.0) > 0.6
    albedo = np.where(trees, 0.09, 0.5) * np.exp2(0.5 * rough)
    tint = np.array([0.95, 1.0, 1.05])
    lamps = np.zeros((HEIGHT, WIDTH, 3), np.float32)
    for _ in range(4):
        y, x = int(HEIGHT * (1 - share * random.uniform(0.2, 0.7))) - 3, int(random.uniform(4, WIDTH - 8))
        lamps[y : y + 3, x : x + 4] = random.uniform(4, 40) * AIRGLOW * _LAMP_RGB
    return Ground(cover.astype(np.float32), (albedo[..., None] * tint).astype(np.float32), lamps)
