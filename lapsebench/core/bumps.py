"""Finds bumped frames: detail that stands still is elsewhere, or smeared, in one to three frames, and back after them.

First the tiles tell where something may have happened; then registered pictures (`Match`) decide. A shift that lasts is
another camera position (`shots.moved_frames`), and stars that turn are where the middle between both sides awaits them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.chunks import by_frames

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.intp]

LONGEST = 3
"""Frames that one bump may last; a longer one is a camera position of its own."""
_DARK = 0.001  # linear light added before the logarithm, so that noise in the dark is no detail
_LEAST_DRIFT = 0.12  # tiles between two frames that are worth a look: half a bump that is to be found
_OPPOSITE = 0.5  # of the larger of the two shifts into and out of a bump: what their sum may be
_TILES = 600  # most tiles that tell shifts
_HISTORY = 125  # pairs that tell which tiles stand still
_UNSTEADY, _STEADY_FLOOR = 0.3, 0.02  # stops: unsteadier tiles are no worse, steadier ones no better
_LOOSE = 0.1  # stops, scale of the loss in the fit of a shift
_FIT_ROUNDS = 3
_ROUGH_DRIFT = 0.05  # tiles by the rough look from which on the fit is worth the time
_ROUGH_FRAMES = 32  # over which the slopes count as the same for it
_FAR_OFF = 0.3  # stops off the gain: changes that are farther off count as this much there
_LEAST_SHIFT = 0.0022  # of the picture's longer side
_AGREE = 0.0012  # of the longer side, or a quarter of the shift: blocks closer to the common shift agree with it
_BACKED = 0.5  # share of the still detail that has to agree
_LEAST_BLOCKS = 4
_BETTER = 0.03  # by which detail is more alike at the shift than in place
_ALIKE = 0.5
_SMEARED = 0.75  # of the fine detail left; 0.92 and more is in frames that nothing happened to


@dataclass(frozen=True, slots=True)
class Match:
    """How k blocks of still detail lie in a frame against those before and after it.

    `shift`: (k, 2) down and right, share of the picture's longer side, off the middle of where both have it. `alike`: (k,)
    correlation there, and `in_place` without the shift. `energy`: (k,), how much detail. `sharp`: (k,) fine detail left,
    1 as in the frames around.
    """

    shift: Floats
    alike: Floats
    in_place: Floats
    energy: Floats
    sharp: Floats

    @classmethod
    def none(cls) -> Match:
        """Return the match of a picture in which nothing stands still."""
        return cls(np.zeros((0, 2)), *np.zeros((4, 0)))


@dataclass(frozen=True, slots=True)
class Still:
    """Tiles, numbered over rows * cols, that keep step with the rest and have detail, and how much each counts, 0..1."""

    tiles: Ints
    weights: NDArray[np.float32]


def is_bumped(match: Match) -> bool:
    """Whether the frame's detail as a whole lies elsewhere than on both sides, or is smeared; False where not decidable."""
    found = match.alike > _ALIKE
    if np.count_nonzero(found) < _LEAST_BLOCKS or match.energy[found].sum() < _BACKED * match.energy.sum():
        return False
    shift, weight = match.shift[found], match.energy[found]
    if _weighted_median(match.sharp[found], weight) < _SMEARED:
        return True
    common = np.array([_weighted_median(shift[:, c], weight) for c in (0, 1)])
    off = np.hypot(*(shift - common).T)
    agree = off < max(_AGREE, float(np.hypot(*common)) / 4)
    if weight[agree].sum() < _BACKED * match.energy.sum() or np.count_nonzero(agree) < _LEAST_BLOCKS:
        return False
    better = (match.alike - match.in_place)[found][agree]
    return bool(np.hypot(*common) > _LEAST_SHIFT) and _weighted_median(better, weight[agree]) > _BETTER


def suspects(light: NDArray[np.float32], usable: Bools) -> list[tuple[int, int, int, int]]:
    """Return where the camera may have been bumped: frame before, first, last bumped frame, frame after.

    `light`: (n, rows, cols) tile luminance. `usable`: (n,) frames to go by; the others are stepped over. There the tiles
    that stand still shift by a little more than nothing, and back again.
    """
    frames = np.flatnonzero(usable)
    if frames.size < 3:
        return []
    still = still_tiles(light, frames)
    rough = _rough_drift(light, frames, still) > _ROUGH_DRIFT
    around = np.convolve(rough, np.ones(2 * LONGEST + 1))[LONGEST : LONGEST + rough.size]
    pairs = np.flatnonzero(rough & (around > 1.5))  # what is bumped comes back
    if pairs.size == 0:
        return []
    shift = np.zeros((rough.size, 2))
    shift[pairs] = tile_shifts(light, frames[pairs], frames[pairs + 1], still)
    size = np.hypot(*shift.T)
    found = []
    for into in np.flatnonzero(size > _LEAST_DRIFT).tolist():
        for out in range(into + 1, min(into + 1 + LONGEST, size.size)):
            if np.hypot(*(shift[into] + shift[out])) < _OPPOSITE * min(size[into], size[out]):
                before, first, last, after = frames[[into, into + 1, out, out + 1]].tolist()
                found.append((before, first, last, after))
    return found


def tile_shifts(light: NDArray[np.float32], first: Ints, second: Ints, still: Still) -> Floats:
    """Return how far the still detail moves from the frames `first` to `second`, (p,) each: (p, 2) tiles down and right.

    `light`: (n, rows, cols). A first-order estimate from gradients (Lucas & Kanade 1981) with a Cauchy loss: good to a
    quarter for parts of a tile, and too small for more.
    """
    tiles, weights = still.tiles, still.weights

    def fit(first: Ints, second: Ints) -> Floats:
        a, b = _logs(light[first]), _logs(light[second])
        down, right = (slope[:, tiles] for slope in _slopes((a + b) * np.float32(0.5)))
        change = (b - a).reshape(first.size, -1)[:, tiles]
        terms = np.stack([-down, -right, np.ones_like(down)], axis=1)
        solved, trust = np.zeros((first.size, 3), np.float32), np.broadcast_to(weights, change.shape)
        for _ in range(_FIT_ROUNDS):
            solved = np.asarray((_solver(terms, trust) @ change[..., None])[..., 0], np.float32)
            off = change - np.einsum("ij,ijk->ik", solved, terms)
            trust = weights / (1 + (off / np.float32(_LOOSE)) ** 2)
        return solved[:, :2].astype(float)

    return by_frames(fit, first, second)


def _rough_drift(light: NDArray[np.float32], frames: Ints, still: Still) -> NDArray[np.float32]:
    """Return about how far the still detail moves from each of the n `frames` to the next, (n - 1,) tiles.

    Without a robust loss, and with the slopes of one frame for all around it: cheap.
    """
    values = light.reshape(light.shape[0], -1)
    logs = by_frames(lambda some: _logs(np.take(values[some], still.tiles, axis=1)), frames)
    change = logs[1:] - logs[:-1]
    change -= (change @ (still.weights / still.weights.sum()))[:, None]
    np.clip(change, -_FAR_OFF, _FAR_OFF, out=change)
    starts = np.arange(0, frames.size - 1, _ROUGH_FRAMES)
    middle = frames[np.minimum(starts + _ROUGH_FRAMES // 2, frames.size - 1)]
    down, right = (slope[:, still.tiles] for slope in _slopes(_logs(light[middle])))
    solver = _solver(np.stack([-down, -right, np.ones_like(down)], axis=1), still.weights)
    shift = [change[start : start + _ROUGH_FRAMES] @ some[:2].T for start, some in zip(starts, solver, strict=True)]
    return np.asarray(np.hypot(*np.concatenate(shift).T), np.float32)


def _solver(terms: NDArray[np.float32], weights: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the matrices, (n, 3, tiles), that turn the tiles' changes into the least-squares solution by `terms`."""
    weighed = terms * (weights[:, None] if weights.ndim > 1 else weights)
    normal = weighed @ terms.transpose(0, 2, 1) + np.float32(1e-4) * np.eye(3, dtype=np.float32)
    return np.asarray(np.linalg.inv(normal) @ weighed, np.float32)


def still_tiles(light: NDArray[np.float32], frames: Ints) -> Still:
    """Return the tiles that keep step with the rest through the `frames` and have detail."""
    places = np.arange(0, frames.size - 1, max(frames.size // _HISTORY, 1))
    logs = _logs(light[frames[places]])
    change = (_logs(light[frames[places + 1]]) - logs).reshape(places.size, -1)
    weights: NDArray[np.float32] = np.ones(change.shape[1], np.float32)
    for _ in range(2):
        gain = change @ weights / weights.sum()
        off = np.median(np.abs(change - gain[:, None]).T.copy(), axis=1)  # rows are several times faster than columns
        square = np.minimum(off, _UNSTEADY) ** 2 + _STEADY_FLOOR**2
        weights = np.asarray(square.min() / square, np.float32)
    down, right = _slopes(logs)
    detail = (down**2 + right**2).mean(axis=0) * weights
    tiles = np.sort(np.argsort(detail)[-_TILES:])
    return Still(tiles, weights[tiles])


def _logs(light: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.log2(np.maximum(light, 0) + np.float32(_DARK))


def _slopes(logs: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return the slopes down and to the right, stops a tile, of (n, rows, cols), (n, rows * cols); 0 at the edges."""
    down, right = np.zeros_like(logs), np.zeros_like(logs)
    down[:, 1:-1] = (logs[:, 2:] - logs[:, :-2]) / 2
    right[:, :, 1:-1] = (logs[:, :, 2:] - logs[:, :, :-2]) / 2
    return down.reshape(logs.shape[0], -1), right.reshape(logs.shape[0], -1)


def _weighted_median(values: Floats, weights: Floats) -> float:
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(total, total[-1] / 2)])
