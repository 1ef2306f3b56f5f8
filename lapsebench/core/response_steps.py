"""Setting changes as tiles see them and as stars and marks tell them: how many of a curve's stops are one, and where."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from lapsebench.core.candlefit import splines_at
from lapsebench.core.candles import MARKS_SD_EV, Bend, CandleLight
from lapsebench.core.pairwise import Pairs

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Float32s = NDArray[np.float32]

_STARS_SD = 0.03  # stops: of a step that stars tell, besides what noise and an unsure curve do to it
_LEAST_EV = 0.1  # stops: smaller changes tell nothing of a curve
_UNSEEN_EV = 0.2  # stops: how far the sky turns where nothing tells
_ALIKE = 0.5  # share of changes at which it turns alike, for the photographer follows the light
_AROUND = 3.0  # frames, sd, that tell how far the sky turns


@dataclass(frozen=True, slots=True)
class Steps:
    """Steps of the camera, all (c,): a curve's stops that tiles go from and to, and stops of light as told, with sd."""

    from_ev: Floats
    to_ev: Floats
    told_ev: Floats
    sd_ev: Floats


def told_steps(
    log_tiles: Float32s, weights: Float32s, pairs: Pairs, *, marks_ev: Floats, candles: CandleLight, bend: Bend
) -> Steps:
    """Return the steps at setting changes of n frames, as stars and marks tell them.

    `log_tiles`, `weights`: (n, k), see `pairwise.pair_gains`. `marks_ev`: (n,) stops, NaN unknown. `bend`: what the
    `candles` tell of the curve, taken into account by them. What the sky itself did at a change is taken from the frames
    before and after it.
    """
    next_to = _neighbours(pairs)
    first, second = pairs.first[next_to], pairs.second[next_to]
    gain, spread = pairs.gain_ev[next_to], pairs.spread_ev[next_to]
    middle = np.array([_level(log_tiles, weights, i, j) for i, j in zip(first, second, strict=True)])
    marked = marks_ev[second] - marks_ev[first]
    changed = np.abs(marked) > _LEAST_EV
    step, variance = _told(candles, bend, marked, (first, second), (middle - gain / 2, middle + gain / 2))
    sky = np.where(changed, np.nan, gain - step)
    around = np.stack([np.append(np.nan, sky[:-1]), np.append(sky[1:], np.nan)])
    surprise = _surprises(sky, around.mean(axis=0))
    rows = np.flatnonzero(changed & np.isfinite(middle) & np.isfinite(around).any(axis=0))
    half = (gain[rows] - np.nanmean(around[:, rows], axis=0)) / 2
    variance = variance[rows] + spread[rows] ** 2 + max(_ALIKE * rows.size, 1) * surprise[rows] ** 2
    return Steps(middle[rows] - half, middle[rows] + half, step[rows], np.sqrt(variance))


def _told(
    candles: CandleLight, bend: Bend, marked: Floats, frames: tuple[Ints, Ints], levels: tuple[Floats, Floats]
) -> tuple[Floats, Floats]:
    """Return the steps that stars and marks tell between `frames`, from `levels` to levels, and their variance, (p,)."""
    first, second = frames
    before, after = (splines_at(level, bend.at_ev) for level in levels)
    turn = (after - before) / np.log(2)
    unsure = np.einsum("pk,kl,pl->p", turn, bend.covariance, turn)
    by_stars = candles.received_ev[second] - candles.received_ev[first]
    sd = np.hypot(candles.sd_ev[first], candles.sd_ev[second])
    stars = np.where(np.isfinite(by_stars), 1 / (_STARS_SD**2 + sd**2 + unsure), 0.0)
    marks = np.where(np.isfinite(marked), MARKS_SD_EV**-2, 0.0)
    both = np.where(stars + marks > 0, stars + marks, np.nan)
    return (stars * np.nan_to_num(by_stars) + marks * np.nan_to_num(marked)) / both, 1 / both


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
    return np.asarray(order[np.append(True, np.diff(pairs.first[order]) > 0)])


def _level(log_tiles: Float32s, weights: Float32s, i: int, j: int) -> float:
    """Return the stops about which tiles lie in both frames, NaN where none is seen in both."""
    seen = (weights[i] > 0) & (weights[j] > 0)
    return float(np.median((log_tiles[i][seen] + log_tiles[j][seen]) / 2)) if seen.any() else np.nan
