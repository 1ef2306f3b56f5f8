"""Setting changes as tiles see them and as stars and marks tell them: how many of a curve's stops are one, and where."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag
from scipy.ndimage import gaussian_filter1d

from lapsebench.core.candles import LEAST_MARKED_EV, Bend, CandleLight
from lapsebench.core.pairwise import Pairs
from lapsebench.core.separation import Evidence

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Float32s = NDArray[np.float32]

_STARS_SD = 0.03  # stops: of a step that stars tell, besides what noise and an unsure curve do to it
_MARK_SD_EV = 0.06  # stops: by which a setting is off its marks
_LEAST_SD_EV = 0.02  # stops: of a step that marks tell, where nothing flickers
_UNSEEN_EV = 0.2  # stops: how far the sky turns where nothing tells
_ALIKE = 0.5  # share of changes at which it turns alike, for the photographer follows the light
_AROUND = 3.0  # frames, sd, that tell how far the sky turns


@dataclass(frozen=True, slots=True)
class Steps:
    """Steps of the camera as stars and marks tell them, (c,), one after the other.

    `from_ev` and `to_ev`: a curve's stops that tiles go from and to. `told_ev`: stops of light, `covariance` (c, c) of them
    less what tiles see: marks are off by as much at each return to a setting, and both are told of the same tiles.
    `by_slope`, (c, k): stops that a step gains with each slope that the bend is held at more, see `Bend.exposure_ev`.
    """

    from_ev: Floats
    to_ev: Floats
    told_ev: Floats
    covariance: Floats
    by_slope: Floats


def told_steps(seen: Evidence, pairs: Pairs, *, candles: CandleLight, bend: Bend, flicker_ev: float = 0.0) -> Steps:
    """Return the steps at setting changes of n frames, as stars and marks tell them.

    `bend`: what the `candles` tell of the curve. `flicker_ev`: sd of the exposure from frame to frame. What the sky itself
    did at a change is taken from the frames before and after it.
    """
    next_to = _neighbours(pairs)
    first, second = pairs.first[next_to], pairs.second[next_to]
    gain, spread = pairs.gain_ev[next_to], pairs.spread_ev[next_to]
    middle = np.array([_level(seen.log_tiles, seen.weights, i, j) for i, j in zip(first, second, strict=True)])
    marked = seen.exposure_ev[second] - seen.exposure_ev[first]
    starred = candles.received_ev[second] - candles.received_ev[first]
    changed = np.abs(marked) > LEAST_MARKED_EV
    sky = np.where(changed, np.nan, gain - np.where(np.isfinite(starred), starred, marked))
    around = np.stack([np.append(np.nan, sky[:-1]), np.append(sky[1:], np.nan)])
    surprise = _surprises(sky, around.mean(axis=0))
    rows = np.flatnonzero(changed & np.isfinite(middle) & np.isfinite(around).any(axis=0))
    by_stars = np.flatnonzero(np.isfinite(starred[rows]))
    of = np.concatenate([by_stars, np.arange(rows.size)])
    first, second = first[rows], second[rows]
    half = (gain[rows] - np.nanmean(around[:, rows], axis=0)) / 2
    own = spread[rows] ** 2 + max(_ALIKE * rows.size, 1) * surprise[rows] ** 2
    stars_variance = (_STARS_SD**2 + candles.sd_ev[first] ** 2 + candles.sd_ev[second] ** 2)[by_stars]
    covariance = np.diag(own)[np.ix_(of, of)] + block_diag(
        np.diag(stars_variance), _marks_covariance(seen.settings, first, second, flicker_ev)
    )
    by_slope = np.zeros((of.size, bend.at_ev.size))
    by_slope[: by_stars.size] = (bend.exposure_ev[second] - bend.exposure_ev[first])[by_stars]
    told = np.concatenate([starred[rows][by_stars], marked[rows]])
    return Steps((middle[rows] - half)[of], (middle[rows] + half)[of], told, covariance, by_slope)


def _marks_covariance(settings: Sequence[object], first: Ints, second: Ints, flicker_ev: float) -> Floats:
    """Return the covariance of the steps that marks tell between frames, (c, c): each setting is off by its own bias."""
    numbers: dict[object, int] = {}
    of = np.array([numbers.setdefault(setting, len(numbers)) for setting in settings], dtype=np.intp)
    unit = np.eye(len(numbers))
    biases = unit[of[second]] - unit[of[first]]
    return np.asarray(_MARK_SD_EV**2 * biases @ biases.T + (2 * flicker_ev**2 + _LEAST_SD_EV**2) * np.eye(first.size))


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
