"""Finds the skyline of a shot: below it the picture keeps still, above it the sky moves.

Ground tiles carry detail that stays (trees, snow, houses) and grow brighter and darker together; sky tiles are smooth or
change each on its own. Both are described by robust classes of three features and parted by the skyline of
least cost, found column by column by dynamic programming (Viterbi 1967); classes and skyline are improved in turns.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from lapsebench.core.transfer import luminance

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_MOST_FRAMES = 48
_DARK = 2.0**-11  # linear light added before the logarithm, so that noise in the dark is no detail
_LEAST_DETAIL, _LEAST_SPREAD = 0.01, 0.02  # stops added before the logarithm of a feature
_LEAST_SD = 0.25  # of a class, octaves of a feature
_TAIL = 4.0  # degrees of freedom over which a tile may be unlike its class
_STEEP = 2.0  # cost of each tile that the skyline goes up or down from one column to the next
_EDGE, _MOST_EDGE = 2.0, 4.0  # reward of a step in brightness that stays, and the clearest step that counts
_STARTS = (0.2, 0.5, 0.8)
_TURNS = 5
_LEAST_SHARE = 0.02  # of the picture on either side
_LEAST_FRAMES = 8
_LEAST_OCTAVES = 1.0  # of evidence that what lies below is ground
_SKY_EDGE = 0.75  # the clearest steps within a sky without ground, see `_edges`
_LEAST_STEP = 0.4  # stops down to a ground without detail
_LEAST_SKY_SPREAD = -4.7  # a sky that changes less, octaves of `_spread`, tells nothing


@dataclass(frozen=True, slots=True)
class Horizon:
    """A skyline: per column, left to right, the share 0..1 of the picture's height, from the top, at which ground begins.

    `confidence` 0..1: 1 - 1 / c, with c how many times more than the sky the ground keeps its detail, or its edge is clear.
    """

    skyline: tuple[float, ...]
    confidence: float


@dataclass(frozen=True, slots=True)
class _Parting:
    """A skyline in rows, (cols,), what it gains a tile over one class for all, and the classes' means, (3,)."""

    rows: NDArray[np.intp]
    gain: float
    sky: Floats
    ground: Floats


def find_horizon(rgb: NDArray[np.float32], usable: Bools) -> Horizon | None:
    """Return the skyline of one shot, or None where there is none to be found: all sky, all ground, or too little change.

    `rgb`: (n, rows, cols, 3) linear light of the tiles. `usable`: (n,) frames to go by; at most some dozens spread over them
    are looked at, however many there are.
    """
    frames = np.flatnonzero(usable)
    if frames.size < _LEAST_FRAMES:
        return None
    chosen = frames[np.unique(np.linspace(0, frames.size - 1, min(frames.size, _MOST_FRAMES)).astype(int))]
    stops = np.log2(np.maximum(luminance(rgb[chosen]), 0) + np.float32(_DARK))
    stops -= np.median(stops, axis=(1, 2))[:, None, None]
    detail, edges, changes = _detail(stops), _edges(stops), stops - stops.mean(axis=0)
    tried = [_parted(detail, edges, changes, start) for start in _STARTS]
    partings = [parting for parting in tried if parting is not None]
    if not partings:
        return None
    best = max(partings, key=lambda parting: parting.gain)
    octaves = max(_stillness(best), _edge_clearness(best, edges, stops))
    if octaves < _LEAST_OCTAVES:
        return None
    shares = best.rows / stops.shape[1]
    return Horizon(tuple(round(float(share), 4) for share in shares), round(1 - 2.0**-octaves, 3))


def _stillness(parting: _Parting) -> float:
    """Return by how many octaves the ground's detail stays rather than comes and goes, and more so than the sky's."""
    ground, sky = (float(each[0] - each[1]) for each in (parting.ground, parting.sky))
    return min(ground, ground - sky)


def _edge_clearness(parting: _Parting, edges: Floats, stops: NDArray[np.float32]) -> float:
    """Return by how many octaves the step to a dark, featureless ground is clearer than steps within a living sky."""
    if parting.sky[2] < _LEAST_SKY_SPREAD:
        return -np.inf
    columns = np.arange(parting.rows.size)
    still = stops.mean(axis=0)
    inside = np.clip(parting.rows, 1, still.shape[0] - 1)
    if np.median(still[inside, columns] - still[inside - 1, columns]) > -_LEAST_STEP:
        return -np.inf
    return float(np.log2(np.maximum(np.quantile(edges[parting.rows, columns], 0.25), 1e-6) / _SKY_EDGE))


def _parted(detail: Floats, edges: Floats, changes: NDArray[np.float32], start: float) -> _Parting | None:
    """Return the parting that improving in turns leads to from a flat skyline at share `start` of the height."""
    rows, cols = changes.shape[1:]
    skyline = np.full(cols, round(start * rows))
    for _ in range(_TURNS):
        ground = np.arange(rows)[:, None] >= skyline
        if not _LEAST_SHARE <= ground.mean() <= 1 - _LEAST_SHARE:
            return None
        features = np.concatenate([detail, _spread(changes, ground)[None]])
        sky_class, ground_class = _class(features[:, ~ground]), _class(features[:, ground])
        found, cost = _least_cost(_cost(features, *sky_class), _cost(features, *ground_class), edges)
        if np.array_equal(found, skyline):
            break
        skyline = found
    if not _LEAST_SHARE <= found.mean() / rows <= 1 - _LEAST_SHARE:
        return None
    alone = float(_cost(features, *_class(features.reshape(3, -1))).sum())
    return _Parting(found, (alone - cost) / ground.size, sky_class[0], ground_class[0])


def _detail(stops: NDArray[np.float32]) -> Floats:
    """Return how much detail stays and how much comes and goes, octaves, (2, rows, cols)."""
    padded = np.pad(stops, ((0, 0), (0, 0), (1, 1)), mode="edge")
    fine = stops - (padded[..., :-2] + padded[..., 2:]) / 2
    still = fine.mean(axis=0)
    moving = np.abs(fine - still).mean(axis=0)
    around = [uniform_filter1d(np.square(part, dtype=float), 3, axis=1, mode="nearest") for part in (still, moving)]
    return np.asarray(np.log2(np.sqrt(np.maximum(np.stack(around), 0)) + _LEAST_DETAIL))


def _spread(changes: NDArray[np.float32], ground: Bools) -> Floats:
    """Return how far each tile goes its own way instead of the ground's common one, octaves, (rows, cols)."""
    common = np.median(changes[:, ground][:, ::3], axis=1)
    own = np.abs(changes - common[:, None, None]).mean(axis=0)
    return np.asarray(np.log2(own + _LEAST_SPREAD), dtype=float)


def _edges(stops: NDArray[np.float32]) -> Floats:
    """Return how clear a step in brightness stays before each row, (rows + 1, cols)."""
    steps = np.diff(stops, axis=1)
    clear = np.abs(steps.mean(axis=0)) / (steps.std(axis=0) + 0.1)
    return np.pad(np.minimum(clear, _MOST_EDGE).astype(float), ((1, 1), (0, 0)))


def _class(features: Floats) -> tuple[Floats, Floats]:
    """Return the median and the robust sd of each of the features, (3, tiles), both (3,)."""
    middle = np.median(features, axis=1)
    spread = 1.4826 * np.median(np.abs(features - middle[:, None]), axis=1)
    return middle, np.maximum(spread, _LEAST_SD)


def _cost(features: Floats, middle: Floats, sd: Floats) -> Floats:
    """Return how unlike a class each tile is: minus the log likelihood of Student's t, but for a constant."""
    shape = (-1,) + (1,) * (features.ndim - 1)
    z = (features - middle.reshape(shape)) / sd.reshape(shape)
    return np.asarray((2 * np.log1p(z**2 / _TAIL) + np.log(sd).reshape(shape)).sum(axis=0))


def _least_cost(sky: Floats, ground: Floats, edge: Floats) -> tuple[NDArray[np.intp], float]:
    """Return the skyline (first ground row of each column) of least cost, (cols,), and its cost."""
    rows, cols = sky.shape
    cost = -_EDGE * edge
    cost[1:] += np.cumsum(sky, axis=0)
    cost[:-1] += np.cumsum(ground[::-1], axis=0)[::-1]
    places = np.arange(rows + 1)
    climb = _STEEP * np.abs(places[:, None] - places)
    total, came_from = cost[:, 0], []
    for column in range(1, cols):
        ways = climb + total
        came_from.append(ways.argmin(axis=1))
        total = ways[places, came_from[-1]] + cost[:, column]
    skyline = [int(total.argmin())]
    for back in reversed(came_from):
        skyline.append(int(back[skyline[-1]]))
    return np.array(skyline[::-1]), float(total.min())
