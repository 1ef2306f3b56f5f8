"""Smooth random shapes that everything in a made-up sky is built from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

Floats = NDArray[np.float64]
Image = NDArray[np.float32]
Random = np.random.Generator


@dataclass(frozen=True, slots=True)
class Waves:
    """A sum of travelling sines over 0..1: `numbers` (a width), `speeds` (turns a second), `phases`, `heights`, all (k,)."""

    numbers: Floats
    speeds: Floats
    phases: Floats
    heights: Floats

    def at(self, place: Floats, time_s: float) -> Floats:
        """Return the sum at each `place` (m,), in the unit of the heights."""
        turns = np.outer(place, self.numbers) - self.speeds * time_s
        total: Floats = np.sin(2 * np.pi * turns + self.phases) @ self.heights
        return total


def random_waves(random: Random, count: int, *, numbers: tuple[float, float], speed: float, height: float) -> Waves:
    """Return `count` waves of an rms of `height`, with `numbers` spread evenly in octaves and speeds of about `speed`."""
    steps = np.exp2(random.uniform(np.log2(numbers[0]), np.log2(numbers[1]), count))
    heights = random.uniform(0.5, 1.0, count)
    heights *= height * np.sqrt(2 / (heights**2).sum())
    return Waves(steps, random.normal(0, speed, count), random.uniform(0, 2 * np.pi, count), heights)


def random_field(random: Random, shape: tuple[int, int], size: float) -> Image:
    """Return smooth noise (h, w) of mean 0 and sd 1 with features of about `size` px; its edges meet."""
    noise = random.standard_normal(shape)
    smooth = gaussian_filter(noise, size, mode="wrap") + 0.4 * gaussian_filter(noise, size / 3, mode="wrap") / 3
    smooth -= smooth.mean()
    return np.asarray(smooth / smooth.std(), np.float32)


def shifted(field: Image, by: float, width: int) -> Image:
    """Return `width` columns of `field` (h, w) that start at column `by`, between columns if need be, wrapping round."""
    start, part = divmod(by, 1.0)
    columns = (int(start) + np.arange(width + 1)) % field.shape[1]
    window = field[:, columns]
    mixed: Image = window[:, :-1] * np.float32(1 - part) + window[:, 1:] * np.float32(part)
    return mixed
