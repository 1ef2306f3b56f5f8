"""How much of a white point's light a finished picture's luma tells before a coloured sky.

JPEG and film keep luma in full and colour at half its fineness (ITU-T T.871 and the usual 4:2:0 or 4:2:2 sampling), so
a star's own colour is smeared over the sky around it; its luma is not. But luma is a sum of codes, not of light: the same
white light adds more of it where red and blue are dark, before green aurora, than before a grey sky.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LUMA = np.array([0.299, 0.587, 0.114])
"""Shares of R, G and B codes in luma, ITU-T T.871."""
_INTO_POINT = np.array([0.2, 0.93, 2.4])  # of a star of 0.8 px (sd) in its own px
_FINER = 1.2  # power of the factor: what is told in larger px is spread thinner than the star that made it
_ROUNDS = 5
_DARKEST = 1e-7


def into_point(factor: int) -> Floats:
    """Return where the thirds of a star's light lie above its surroundings, times its measured light, (3,).

    Worked out for stars of 0.8 to 1 px (sd), measured in px that are `factor` times as wide and high as the picture's own.
    """
    return np.asarray(_INTO_POINT * factor**_FINER)


def luma_share(told: Floats, around: Floats, colour: Floats, greys: Floats, *, into: Floats) -> Floats:
    """Return the luma's light of white points as a share of their own light, (k,): 1 before grey, more before colours.

    `told`: light that the luma tells above the surroundings, `around`: the light there, (k,). `colour`: (k, 3) light of R, G
    and B around, in any unit. `greys`: (levels,) light of each grey code, rising. `into`: as `into_point` returns it.
    """
    codes = np.arange(greys.size, dtype=float)

    def luma_light(light: Floats) -> Floats:
        told: Floats = np.interp(np.interp(light, greys, codes) @ LUMA, codes, greys)
        return told

    around = np.maximum(around, _DARKEST)
    colour = np.maximum(colour, _DARKEST)
    colour = colour * (around / np.maximum(luma_light(colour), _DARKEST))[:, None]
    plain = luma_light(colour)
    told = np.maximum(told, _DARKEST)
    share = np.ones_like(told)
    for _ in range(_ROUNDS):
        up = into * (told / share)[:, None]  # (k, 3)
        more = [luma_light(colour + each[:, None]) - plain for each in up.T]
        share = np.mean(np.stack(more, axis=1) / up, axis=1)
        share = np.clip(np.nan_to_num(share, nan=1.0), 0.5, 2.0)
    return np.asarray(share)
