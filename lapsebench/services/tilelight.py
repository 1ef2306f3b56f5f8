"""Tiles as the camera's responses see them: stops and weights of every tile, and the mean light of frames."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.chunks import WORKERS, by_frames
from lapsebench.core.exposure import exposure_ev, guess_marks
from lapsebench.core.faults import Tiles, brightest, usable_tiles
from lapsebench.core.metering import COLS, LEAST_LIGHT, ROWS, FrameMeasure
from lapsebench.core.pairwise import tiles_worth
from lapsebench.core.response import Response, light_steps, light_table, seen_tables
from lapsebench.core.response_fit import fit_responses
from lapsebench.core.response_samples import Around, frames_at_changes
from lapsebench.core.sequence import Frame, Shot
from lapsebench.core.transfer import BT709_WEIGHTS, linear_to_srgb

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_UNEVEN_EV = 0.55  # stops from tile to tile, or the picture's usual if that is more, at which a tile counts half
_CHUNK = 64  # frames worked on at a time: what fits the processor's cache
_AT_A_TIME = 256  # frames


@dataclass(frozen=True, slots=True)
class Seen:
    """n frames of the k tiles that `tiles_worth` picks: `log_tiles` and `weights` (n, 3 k) float32, R, then G, then B.

    In stops of the responses' light.
    """

    log_tiles: NDArray[np.float32]
    weights: NDArray[np.float32]


def tiles_of(shot: Shot, all_measures: Sequence[FrameMeasure | None]) -> Tiles:
    """Return the measures of `shot` as arrays; NaN for frames without one or with another grid than most."""
    measures = [all_measures[i] for i in shot.frames]
    shapes = [measure.clipped.shape[:2] for measure in measures if measure is not None]
    shape = max(set(shapes), key=shapes.count) if shapes else (ROWS, COLS)
    rgb, clipped = np.empty((2, len(measures), *shape, 3), np.float32)

    def put(first: int) -> None:
        for k in range(first, min(first + _AT_A_TIME, len(measures))):
            measure = measures[k]
            if measure is not None and measure.clipped.shape[:2] == shape:
                rgb[k], clipped[k] = measure.tiles, measure.clipped
            else:
                rgb[k] = clipped[k] = np.nan

    with ThreadPoolExecutor(WORKERS) as pool:
        list(pool.map(put, range(0, len(measures), _AT_A_TIME)))
    return Tiles(rgb, clipped)


def exposures(frames: Sequence[Frame]) -> Floats:
    """Return the camera exposure of each frame, stops at the true marks of the dial the times tell of; NaN unknown."""
    marks = guess_marks(list({frame.exposure_s for frame in frames if frame.exposure_s}))
    known = {setting: exposure_ev(*setting, marks=marks) for setting in {frame.setting for frame in frames}}
    return np.array([np.nan if (ev := known[frame.setting]) is None else ev for frame in frames], dtype=float)


def responses_of(tiles: Tiles, marks_ev: Floats, spoilt: Bools, *, hint: Response | None = None) -> tuple[Response, ...]:
    """Return the responses of R, G and B as the frames around setting changes tell them.

    `marks_ev`: (n,) camera exposure, stops, NaN unknown. `spoilt`: (n,) frames not to look at. `hint`: see `fit_responses`.
    """
    frames = frames_at_changes(marks_ev, tiles.readable & ~spoilt)
    return fit_responses([around_changes(Tiles(tiles.rgb[frames], tiles.clipped[frames]), marks_ev[frames])], hint=hint)


def around_changes(tiles: Tiles, marks_ev: Floats) -> Around:
    """Return n readable frames around setting changes as the responses are told from them."""
    n = marks_ev.size
    even = usable_tiles(tiles, np.zeros(n, bool)) * _evenness(tiles.light)[..., None]
    usable = np.moveaxis(even, 3, 0).reshape(3, n, -1 if n else 0)
    return Around(np.moveaxis(tiles.rgb, 3, 0).reshape(3, n, -1 if n else 0), usable, marks_ev)


def _evenness(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return how even the tiles seem to be within, (n, rows, cols), 0..1, from how much their neighbours differ.

    The mean of codes that bend is not the code of the mean: what varies within a tile would bend the curve.
    """
    if not light.size:
        return light
    stops = np.log2(np.maximum(light, LEAST_LIGHT))
    down, right = np.abs(np.diff(stops, axis=1)), np.abs(np.diff(stops, axis=2))
    most = np.zeros_like(stops)
    for part, step in ((most[:, 1:], down), (most[:, :-1], down), (most[:, :, 1:], right), (most[:, :, :-1], right)):
        np.maximum(part, step, out=part)
    usual = np.median(most, axis=(1, 2), keepdims=True)
    return np.asarray(1 / (1 + (most / np.maximum(usual, np.float32(_UNEVEN_EV))) ** 4))


def seen_tiles(tiles: Tiles, spoilt: Bools, responses: tuple[Response, ...]) -> Seen:
    """Return the tiles worth looking at as the responses see them; those of `spoilt` frames (n,) have no weight."""
    n = tiles.rgb.shape[0]
    grid = tiles.rgb.shape[1] * tiles.rgb.shape[2]
    worth = tiles_worth(n, grid)
    k = len(range(grid)[worth])
    rgb, clipped = (values.reshape(n, grid, 1, 3)[:, worth] for values in (tiles.rgb, tiles.clipped))
    log_tiles, weights = np.empty((2, n, 3 * k), np.float32)

    def see(first: int) -> None:
        part = slice(first, first + _CHUNK)
        few = Tiles(rgb[part], clipped[part])
        light, usable = few.known_rgb[:, :, 0], usable_tiles(few, spoilt[part])[:, :, 0]
        for c, response in enumerate(responses):
            place, columns = light_steps(light[..., c]), slice(c * k, (c + 1) * k)
            ev, weight = seen_tables(response)
            log_tiles[part, columns] = np.take(ev, place, mode="clip")
            weights[part, columns] = np.take(weight, place, mode="clip") * usable[..., c]

    with ThreadPoolExecutor(WORKERS) as pool:
        list(pool.map(see, range(0, n, _CHUNK)))
    return Seen(log_tiles, weights)


def luminance_ev(tiles: Tiles, responses: tuple[Response, ...], share: NDArray[np.float32] | None = None) -> Floats:
    """Return the mean light of each frame, (n,) stops of the responses' light; NaN for frames that could not be read.

    `share`: (rows, cols) how much of each tile counts, 0..1; None is all of all.
    """
    weights = np.full(tiles.rgb.shape[1] * tiles.rgb.shape[2], 1, np.float32) if share is None else share.ravel()
    recorded = [light_table(response) if response.estimated else None for response in responses]

    def mean(rgb: NDArray[np.float32]) -> Floats:
        light = rgb.reshape(rgb.shape[0], -1, 3)
        if all(table is None for table in recorded):
            return np.asarray(weights @ light, dtype=float)
        means = np.empty((rgb.shape[0], 3))
        for c, table in enumerate(recorded):
            known = light[..., c] if table is None else np.take(table, light_steps(light[..., c]), mode="clip")
            means[:, c] = known @ weights
        return means

    mean_light = by_frames(mean, tiles.known_rgb) @ BT709_WEIGHTS / float(weights.sum())
    return np.log2(np.maximum(np.where(tiles.readable, mean_light, np.nan), LEAST_LIGHT))


def highlight_ev(tiles: Tiles, responses: tuple[Response, ...], inside: Bools | None = None) -> Floats:
    """Return the brightest parts of each frame, (n,) stops, the channels' mean; NaN for frames that could not be read.

    `inside`: (rows, cols) the tiles to look at; None is all.
    """
    codes = linear_to_srgb(np.clip(tiles.highlight if inside is None else brightest(tiles.rgb[:, inside]), LEAST_LIGHT, 1.0))
    return np.asarray(np.mean([response.stops(codes) for response in responses], axis=0))
