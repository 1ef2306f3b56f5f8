"""How many of a curve's stops are one of light, from what it and the marks say of setting changes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lapsebench.core.response_samples import Bools, Floats, Ints

_SCALES, _SCALE_SD = (0.2, 5.0), 0.3
_OFF_SCALE, _SURE_ERRORS = 0.12, 4.0  # break-ups and flicker hide a tenth
_ROUNDS = 8


@dataclass(frozen=True, slots=True)
class Jumps:
    """Jumps of one channel at p setting changes: in a curve's stops and at the marks, and their precision; all (p,)."""

    change: Ints
    curve_ev: Floats
    marks_ev: Floats
    precision: Floats

    def where(self, rows: Bools) -> Jumps:
        """Return the chosen ones, (p,)."""
        return Jumps(self.change[rows], self.curve_ev[rows], self.marks_ev[rows], self.precision[rows])


def scales_of(channels: list[Jumps]) -> list[float]:
    """Return stops of each channel's curve to a stop of light.

    The marks give the scale of all channels together, a robust slope shrunk to 1: shutter and sky err in all of them alike.
    What the channels have in common at each change then gives each its own.
    """
    own = [scale_of(jumps) for jumps in channels]
    total, weight = np.zeros((2, max(int(jumps.change.max(initial=0)) for jumps in channels) + 1))
    for jumps, scale in zip(channels, own, strict=True):
        np.add.at(total, jumps.change, jumps.precision * jumps.curve_ev / scale)
        np.add.at(weight, jumps.change, jumps.precision)
    common = total / np.maximum(weight, 1e-9)
    return [
        _slope(jumps.curve_ev, common[jumps.change], jumps.precision) or scale
        for jumps, scale in zip(channels, own, strict=True)
    ]


def scale_of(jumps: Jumps) -> float:
    """Return the curve's stops to a stop of light: a robust slope, shrunk to 1."""
    scale, prior = 1.0, _SCALE_SD**-2
    for _ in range(_ROUNDS):
        off = jumps.curve_ev - scale * jumps.marks_ev
        weight = jumps.precision / (1 + off**2 * jumps.precision / 4)
        scale = ((weight * jumps.marks_ev * jumps.curve_ev).sum() + prior) / ((weight * jumps.marks_ev**2).sum() + prior)
    return float(np.clip(scale, *_SCALES))


def is_off_scale(jumps: Jumps) -> bool:
    """Whether the marks surely say that a stop of light is another number of the curve's stops than one.

    A camera that only has more contrast than sRGB, the same at all codes, shows so in nothing else. Sureness goes by how
    much hangs on each change (jackknife): a sky that breaks up makes them disagree.
    """
    changes = np.unique(jumps.change)
    without = np.array([scale_of(jumps.where(jumps.change != change)) for change in changes])
    error = without.std() * np.sqrt(max(changes.size - 1, 1)) if changes.size else np.inf
    return abs(scale_of(jumps) - 1) > max(_OFF_SCALE, _SURE_ERRORS * error)


def _slope(values: Floats, against: Floats, precision: Floats) -> float:
    """Return the least-squares slope through the origin, 0 where there is nothing to tell it by."""
    power = float((precision * against**2).sum())
    return float((precision * values * against).sum()) / power if power > 0 else 0.0
