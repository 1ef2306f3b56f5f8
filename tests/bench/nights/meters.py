"""Meters of a gain against the truth: jitter, steps left at setting changes, drift, and what became of the sky."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from scipy.ndimage import median_filter

from lapsebench.core.sequence import SPOILT, Fault
from lapsebench.core.smoothing import lambda_for_period, whittaker
from nights.night import Bools, Night
from nights.program import RAMP, Made
from nights.waves import Floats

_WINDOW = 9
_SLOW = lambda_for_period(60)
_UNSURE_CLIPPED = 0.03  # share of a picture at the top code from which on calling it blown is no mistake


@dataclass(frozen=True, slots=True)
class Exposure:
    """Meters of the virtual exposure: `jitter` rms, mean `step` left, slow `drift` peak to peak, stops; and `correlation`.

    `correlation`: of the film's mean light with the scene's; 1 keeps the sky as it was.
    """

    jitter: float
    step: float
    drift: float
    correlation: float


def exposure_meters(night: Night, gain_ev: Floats) -> Exposure:
    """Return the meters of a gain (n,) stops, read on the frames that nothing was done to."""
    good = night.good
    virtual = (night.received_ev + gain_ev)[good]
    off = off_trend(np.diff(virtual))
    changed = at_changes(night, night.good)
    step = float(np.abs(off[changed]).mean()) if changed.any() else np.nan
    scene = night.scene_ev[good]
    moving = np.std(scene) > 1e-3
    correlation = float(np.corrcoef(scene, scene + virtual)[0, 1]) if moving else np.nan
    return Exposure(float(np.sqrt(np.mean(off**2))), step, float(np.ptp(whittaker(virtual, _SLOW))), correlation)


def off_trend(turns: Floats) -> Floats:
    """Return frame-to-frame changes (m,) less their local median."""
    return np.asarray(turns - median_filter(turns, size=_WINDOW, mode="nearest"))


def at_changes(night: Night, frames: Bools) -> Bools:
    """Return which steps from one of `frames` (n,) to the next hold a setting change, (frames - 1,)."""
    return np.array([night.change[a + 1 : b + 1].any() for a, b in pairwise(np.flatnonzero(frames))])


def pulsation_kept(night: Night, gain_ev: Floats) -> float:
    """Return how much of the patches' contrast reaches the film, percent, mean over patches; NaN without patches."""
    if night.patches is None:
        return np.nan
    virtual = _fast(night.received_ev + gain_ev)
    kept = []
    for k in range(night.patches.x.size):
        where = cv2.resize(night.patches.shape(k), night.scenes[0].shape[1::-1]) > 0.7
        if where.any():
            patch = _fast(np.array([np.log2(scene[where].mean()) for scene in night.scenes]))
            kept.append(100 * (1 + (patch @ virtual) / (patch @ patch)))
    return float(np.mean(kept))


def sky_mean_kept(night: Night, gain_ev: Floats) -> float:
    """Return how much of the fast change of the picture's mean light reaches the film, percent; NaN without patches."""
    if night.patches is None:
        return np.nan
    scene = _fast(night.scene_ev)
    return float(100 * (1 + scene @ _fast(night.received_ev + gain_ev) / (scene @ scene)))


def _fast(values: Floats) -> Floats:
    return values - median_filter(values, size=21, mode="nearest")


def kept_error(night: Night, gain_at: Mapping[float, Floats]) -> float:
    """Return how far slow change in the film is from the share asked for, percent; NaN where the scene hardly changes.

    What the exposure in the film takes off the sky's slow change, against that change as it truly was, as far as pictures
    can hold it. `gain_at`: the gain (n,) of each share asked for, 0..1.
    """
    good = night.good
    slow = whittaker(night.recordable_ev[good], RAMP)
    slow -= slow.mean()
    if np.ptp(slow) < 0.7:
        return np.nan
    errors = []
    for share, gain in gain_at.items():
        virtual = (night.received_ev + gain)[good]
        kept = 1 + (virtual - virtual.mean()) @ slow / (slow @ slow)
        errors.append(100 * abs(kept - share))
    return float(max(errors))


@dataclass(frozen=True, slots=True)
class FaultCount:
    """Mistakes in a night: spoilt frames `missed` and good ones `false`ly called so; the same of wrong metadata."""

    missed: int
    false: int
    metadata_missed: int
    metadata_false: int


def fault_count(night: Night, made: Made) -> FaultCount:
    """Return the program's mistakes; a frame with clipped parts may be called blown or not."""
    faults = [made.shot_light.faults.get(i, frozenset()) for i in range(len(night.codes))]
    clipped = made.shot_light.light.clipped
    missed = sum(not faults[i] & SPOILT for i in night.spoilers)
    false = sum(
        bool(faults[i] & SPOILT) and not (faults[i] & SPOILT == {Fault.BLOWN} and clipped[i] > _UNSURE_CLIPPED)
        for i in np.flatnonzero(night.good)
    )
    said = [i for i, found in enumerate(faults) if Fault.METADATA in found]
    right = {i for i in night.disagree for j in said if abs(i - j) <= 1}
    wrong = [j for j in said if all(abs(i - j) > 1 for i in night.disagree)]
    return FaultCount(missed, false, len(night.disagree) - len(right), len(wrong))
