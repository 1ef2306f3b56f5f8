"""Tiles as the camera's responses see them: stops and weights of every tile, and the mean light of frames."""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.exposure import exposure_ev, guess_marks
from lapsebench.core.faults import Tiles, usable_tiles
from lapsebench.core.metering import LEAST_LIGHT
from lapsebench.core.response import Response, light_steps, seen_tables
from lapsebench.core.response_fit import fit_responses
from lapsebench.core.response_samples import Samples, black_code, frames_at_changes, samples_across
from lapsebench.core.sequence import Frame
from lapsebench.core.transfer import BT709_WEIGHTS, linear_to_srgb

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_CHUNK = 64  # frames worked on at a time: what fits the processor's cache
_WORKERS = min(4, os.cpu_count() or 1)


@dataclass(frozen=True, slots=True)
class Seen:
    """n frames of k tiles: `log_tiles`, `weights` (n, 3 k) float32, R then G then B; `luminance_ev`, `highlight_ev` (n,).

    All in stops of the responses' light; NaN for frames that could not be read.
    """

    log_tiles: NDArray[np.float32]
    weights: NDArray[np.float32]
    luminance_ev: Floats
    highlight_ev: Floats


def exposures(frames: Sequence[Frame]) -> Floats:
    """Return the camera exposure of each frame, stops at the true marks of the dial the times tell of; NaN unknown."""
    marks = guess_marks([frame.exposure_s for frame in frames if frame.exposure_s])
    known = [exposure_ev(*frame.setting, marks=marks) for frame in frames]
    return np.array([np.nan if ev is None else ev for ev in known], dtype=float)


def responses_of(tiles: Tiles, marks_ev: Floats, spoilt: Bools) -> tuple[Response, ...]:
    """Return the responses of R, G and B as the frames around setting changes tell them.

    `marks_ev`: (n,) camera exposure, stops, NaN unknown. `spoilt`: (n,) frames not to look at.
    """
    frames = frames_at_changes(marks_ev, tiles.readable & ~spoilt)
    return fit_responses(*samples_of(Tiles(tiles.rgb[frames], tiles.clipped[frames]), marks_ev[frames]))


def samples_of(tiles: Tiles, marks_ev: Floats) -> tuple[Samples, Floats]:
    """Return what n readable frames around setting changes tell of the responses, and the codes of black of R, G and B."""
    n = marks_ev.size
    usable = np.moveaxis(usable_tiles(tiles, np.zeros(n, bool)), 3, 0).reshape(3, n, -1 if n else 0)
    light = np.moveaxis(tiles.rgb, 3, 0).reshape(3, n, -1 if n else 0)
    black = np.array([black_code(light[c], usable[c]) for c in range(3)])
    return samples_across(light, usable, marks_ev, black), black


def seen_tiles(tiles: Tiles, spoilt: Bools, responses: tuple[Response, ...]) -> Seen:
    """Return the tiles as the responses see them; those of `spoilt` frames (n,) have no weight."""
    n, k = tiles.rgb.shape[0], tiles.rgb.shape[1] * tiles.rgb.shape[2]
    log_tiles, weights = np.empty((2, n, 3 * k), np.float32)
    mean = np.empty((n, 3))

    def see(first: int) -> None:
        part = slice(first, first + _CHUNK)
        few = Tiles(tiles.rgb[part], tiles.clipped[part])
        light, usable = few.known_rgb.reshape(-1, k, 3), usable_tiles(few, spoilt[part]).reshape(-1, k, 3)
        for c, response in enumerate(responses):
            place, columns = light_steps(light[..., c]), slice(c * k, (c + 1) * k)
            ev, weight = seen_tables(response)
            log_tiles[part, columns] = np.take(ev, place, mode="clip")
            weights[part, columns] = np.take(weight, place, mode="clip") * usable[..., c]
            recorded = np.exp2(log_tiles[part, columns]) if response.estimated else light[..., c]
            mean[part, c] = recorded.mean(axis=1, dtype=float)

    with ThreadPoolExecutor(_WORKERS) as pool:
        list(pool.map(see, range(0, n, _CHUNK)))
    luminance = np.where(tiles.readable, mean @ BT709_WEIGHTS, np.nan)
    return Seen(log_tiles, weights, np.log2(np.maximum(luminance, LEAST_LIGHT)), _highlight_ev(tiles.highlight, responses))


def _highlight_ev(highlight: Floats, responses: tuple[Response, ...]) -> Floats:
    """Return the stops of the brightest parts, (n,), given as sRGB-decoded light: the channels' mean."""
    codes = linear_to_srgb(np.clip(highlight, LEAST_LIGHT, 1.0))
    return np.asarray(np.mean([response.stops(codes) for response in responses], axis=0))
