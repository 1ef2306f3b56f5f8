"""Setting changes as tiles see them and as stars tell them: how many of a curve's stops are one of light, and where."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from lapsebench.core.pairwise import Pairs

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Float32s = NDArray[np.float32]

_STARS_SD = 0.03  # stops: of a step that stars tell
_UNSEEN_EV = 0.2  # stops: how far the sky turns where nothing tells
_ALIKE = 0.5  # of that, at all changes alike: the photographer follows the light
_AROUND = 3.0  # frames, sd, that tell how far the sky turns


@dataclass(frozen=True, slots=True)
class StarSteps:
    """Changes of the camera's light, all (c,): stops of a curve that tiles go from and to, `told_ev` by stars, and its sd."""

    from_ev: Floats
    to_ev: Floats
    told_ev: Floats
    sd_ev: Floats


def star_steps(
    log_tiles: Float32s, weights: Float32s, pairs: Pairs, settings: Sequence[object], received_ev: Floats
) -> StarSteps:
    """Return the setting changes of n frames whose exposure stars told, `received_ev` (n,) stops, NaN unknown.

    `log_tiles`, `weights`: (n, k), see `pairwise.pair_gains`. What the sky itself did at a change is taken from the frames
    before and after it.
    """
    next_to = _neighbours(pairs)
    first, second = pairs.first[next_to], pairs.second[next_to]
    gain, spread = pairs.gain_ev[next_to], pairs.spread_ev[next_to]
    told = received_ev[second] - received_ev[first]
    change = np.array([settings[i] != settings[j] for i, j in zip(first, second, strict=True)], dtype=bool)
    sky = np.where(change, np.nan, gain - told)
    around = np.stack([np.append(np.nan, sky[:-1]), np.append(sky[1:], np.nan)])
    rows = np.flatnonzero(change & np.isfinite(told) & np.isfinite(around).any(axis=0))
    slope = np.nanmean(around[:, rows], axis=0)
    surprise = _surprises(sky, around.mean(axis=0))[rows]
    middle = np.array([_level(log_tiles, weights, first[row], second[row]) for row in rows])
    half = (gain[rows] - slope) / 2
    return StarSteps(middle - half, middle + half, told[rows], np.sqrt(_STARS_SD**2 + _ALIKE * max(rows.size, 2) * surprise**2 + spread[rows] ** 2))


def _surprises(sky: Floats, awaited: Floats) -> Floats:
    """Return by how much the sky did something else than `awaited` by the frames next to it, rms around each, (p,)."""
    square = (sky - awaited) ** 2
    known = np.isfinite(square)
    usual = float(square[known].mean()) if known.any() else _UNSEEN_EV**2
    total, count = (
        gaussian_filter1d(values.astype(float), _AROUND, mode="constant", truncate=3) * _AROUND * np.sqrt(2 * np.pi)
        for values in (np.where(known, square, 0.0), known)
    )
    return np.asarray(np.sqrt((total + usual) / (count + 1)))


def _neighbours(pairs: Pairs) -> Ints:
    """Return the pairs of frames that no usable one lies between, in order."""
    order = np.lexsort((pairs.second, pairs.first))
    return order[np.append(True, np.diff(pairs.first[order]) > 0)]


def _level(log_tiles: Float32s, weights: Float32s, i: int, j: int) -> float:
    """Return the stops about which tiles lie in both frames."""
    seen = (weights[i] > 0) & (weights[j] > 0)
    return float(np.median((log_tiles[i][seen] + log_tiles[j][seen]) / 2)) if seen.any() else -4.0
