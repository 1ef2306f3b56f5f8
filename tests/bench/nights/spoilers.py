"""What happens to single frames: a headlamp, a car, a blown exposure, a lens cap."""

from __future__ import annotations

from enum import StrEnum

import numpy as np

from lapsebench.core.sequence import Fault
from nights.waves import Image, Random

_WARM = np.array([1.0, 0.8, 0.5], np.float32)


class Spoiler(StrEnum):
    """What happened to a frame."""

    HEADLAMP = "headlamp"
    BLOWN = "blown"
    BLACK = "black"

    @property
    def fault(self) -> Fault:
        """The word the program has for it."""
        return {"headlamp": Fault.STRAY_LIGHT, "blown": Fault.BLOWN, "black": Fault.BLACK}[self.value]


def spoilers(frames: int, random: Random) -> dict[int, Spoiler]:
    """Return what happens to which of `frames` frames; two headlamps run over two frames each."""
    places = random.permutation(np.arange(6, frames - 6, 5))[:8]
    kinds = [Spoiler.HEADLAMP] * 4 + [Spoiler.BLOWN] * 2 + [Spoiler.BLACK] * 2
    happened = {int(place): kind for place, kind in zip(places, kinds, strict=True)}
    for place in places[:2]:
        happened[int(place) + 1] = Spoiler.HEADLAMP
    return happened


def spoil(exposed: Image, spoiler: Spoiler | None, random: Random) -> Image:
    """Return `exposed` light (h, w, 3) with what happened to it."""
    if spoiler is Spoiler.BLOWN:
        return exposed * np.float32(2 ** random.uniform(3.5, 5))
    if spoiler is Spoiler.BLACK:
        return exposed * np.float32(0)
    if spoiler is Spoiler.HEADLAMP:
        return exposed + _beam(exposed, random)
    return exposed


def _beam(exposed: Image, random: Random) -> Image:
    """Return the light a headlamp throws on the foot of the picture, (h, w, 3)."""
    height, width = exposed.shape[:2]
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    centre, reach = random.uniform(0.2, 0.8) * width, random.uniform(25, 60)
    beam = np.exp(-((x - centre) ** 2 + (y - 0.92 * height) ** 2) / reach**2)
    strength = np.float32(exposed.mean() * 2 ** random.uniform(1.5, 4))
    return np.asarray(strength * beam[..., None] * _WARM, np.float32)
