"""Smooth random fields: sums of travelling waves along a line, and still fractal noise over a picture."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from demo_night.lens import Image


@dataclass(frozen=True)
class Waves:
    """A unit-variance sum of travelling waves; wave numbers in rad/km, speeds in km per unit of the aurora's clock."""

    numbers: NDArray[np.float32]
    speeds: NDArray[np.float32]
    phases: NDArray[np.float32]

    def at(self, position: NDArray[np.floating], tau: float) -> NDArray[np.float32]:
        """Value at every `position` (n,) in km at aurora time `tau`."""
        angle = self.numbers[:, None] * (position[None, :] - self.speeds[:, None] * np.float32(tau))
        angle += self.phases[:, None]
        total = np.cos(angle, dtype=np.float32).sum(axis=0) * np.float32(np.sqrt(2.0 / len(self.numbers)))
        return np.asarray(total, np.float32)


def make_waves(
    rng: np.random.Generator, *, shortest: float, longest: float, speed: float, spread: float, count: int
) -> Waves:
    """Random waves with lengths between `shortest` and `longest` km (even in the logarithm), drifting at `speed`."""
    lengths = shortest * (longest / shortest) ** ((np.arange(count) + rng.uniform(0, 1, count)) / count)
    return Waves(
        (2 * np.pi / lengths).astype(np.float32),
        rng.normal(speed, spread, count).astype(np.float32),
        rng.uniform(0, 2 * np.pi, count).astype(np.float32),
    )


def fractal(rng: np.random.Generator, *, width: int, height: int, coarsest: tuple[int, int], octaves: int) -> Image:
    """Still noise (height, width) of unit variance; `coarsest` = cells across and down in the first octave."""
    total = np.zeros((height, width), np.float32)
    for octave in range(octaves):
        cells = (coarsest[1] * 2**octave + 1, coarsest[0] * 2**octave + 1)
        grid = rng.normal(0, 0.55**octave, cells).astype(np.float32)
        total += cv2.resize(grid, (width, height), interpolation=cv2.INTER_CUBIC)
    return np.asarray((total - total.mean()) / total.std(), np.float32)
