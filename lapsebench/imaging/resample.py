"""Resamples a turned part of a picture, in linear light, to the film's pixels.

Going down every film pixel is the mean of what it covers, parts of pixels by their share; going up it is linear in between.
No weight is negative and every source pixel counts in full: a star keeps its light wherever a slow pan takes it, and has
no dark ring (a kernel with negative lobes, such as cubic or Lanczos, digs one).
"""

from __future__ import annotations

from functools import lru_cache
from math import ceil, cos, floor, radians, sin
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from lapsebench.core.view import Patch

Floats = NDArray[np.float32]
_MARGIN = 2  # px of the source around what is turned


def resampled(light: Floats, patch: Patch, size: tuple[int, int]) -> Floats:
    """Return the `patch` of linear `light` (h, w, 3) at `size` = (width, height), (size[1], size[0], 3) float32."""
    if patch.turn_deg:
        light, patch = _turned(light, patch)
    x = _weights(patch.x - patch.width / 2, patch.width, light.shape[1], size[0])
    y = _weights(patch.y - patch.height / 2, patch.height, light.shape[0], size[1])
    rows, cols = _used(y), _used(x)
    part = light[rows[0] : rows[1], cols[0] : cols[1]]
    down = y[:, rows[0] : rows[1]] @ part.reshape(part.shape[0], -1)
    across = np.ascontiguousarray(down.reshape(size[1], part.shape[1], 3).transpose(1, 0, 2)).reshape(part.shape[1], -1)
    done = x[:, cols[0] : cols[1]] @ across
    return np.ascontiguousarray(done.reshape(size[0], size[1], 3).transpose(1, 0, 2), np.float32)


def _used(weights: csr_array[Any, Any]) -> tuple[int, int]:
    return int(weights.indices.min()), int(weights.indices.max()) + 1


@lru_cache(maxsize=32)
def _weights(start: float, length: float, source: int, count: int) -> csr_array[Any, Any]:
    """Return the (count, source) weights of `count` film pixels that share `length` source pixels from `start` on."""
    step = length / count
    if step < 1:
        return _between(start, step, source, count)
    edges = start + step * np.arange(count + 1)
    first = np.floor(edges[:-1] + 1e-9).astype(int)
    taps = ceil(step) + 1
    places = first[:, None] + np.arange(taps)
    cover = np.minimum(edges[1:, None], places + 1) - np.maximum(edges[:-1, None], places)
    return _matrix(places, np.maximum(cover, 0), source)


def _between(start: float, step: float, source: int, count: int) -> csr_array[Any, Any]:
    """Return weights of linear interpolation: pixel i is at i + 0.5."""
    at = start + step * (np.arange(count) + 0.5) - 0.5
    first = np.floor(at).astype(int)
    share = at - first
    return _matrix(np.column_stack([first, first + 1]), np.column_stack([1 - share, share]), source)


def _matrix(places: NDArray[np.int_], weights: NDArray[np.float64], source: int) -> csr_array[Any, Any]:
    """Return rows of weights, each of sum 1, at places that beyond the edge are those at the edge."""
    weights = weights / weights.sum(axis=1, keepdims=True)
    rows = np.repeat(np.arange(places.shape[0]), places.shape[1])
    at = np.clip(places, 0, source - 1).ravel()
    used = weights.ravel() > 0
    shape = (places.shape[0], source)
    return csr_array((weights.ravel()[used].astype(np.float32), (rows[used], at[used])), shape=shape)


def _turned(light: Floats, patch: Patch) -> tuple[Floats, Patch]:
    """Return the part of the picture around a patch, turned so that the patch stands upright in it, and where that is.

    Turned at the source's own scale, linear between pixels.
    """
    a = radians(patch.turn_deg)
    width, height = ceil(patch.width) + 2 * _MARGIN, ceil(patch.height) + 2 * _MARGIN
    middle_x, middle_y = width / 2, height / 2
    # a point (u, v) from the middle of the upright patch lies at (u cos a + v sin a, v cos a - u sin a) from its middle
    to_source: Any = np.array(
        [
            [cos(a), sin(a), patch.x - 0.5 - cos(a) * (middle_x - 0.5) - sin(a) * (middle_y - 0.5)],
            [-sin(a), cos(a), patch.y - 0.5 + sin(a) * (middle_x - 0.5) - cos(a) * (middle_y - 0.5)],
        ]
    )
    reach = (
        (abs(patch.width * cos(a)) + abs(patch.height * sin(a))) / 2,
        (abs(patch.width * sin(a)) + abs(patch.height * cos(a))) / 2,
    )
    left, top = max(floor(patch.x - reach[0]) - _MARGIN, 0), max(floor(patch.y - reach[1]) - _MARGIN, 0)
    right, bottom = ceil(patch.x + reach[0]) + _MARGIN, ceil(patch.y + reach[1]) + _MARGIN
    to_source[:, 2] -= left, top
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    part: Any = np.ascontiguousarray(light[top:bottom, left:right])
    turned = cv2.warpAffine(part, to_source, (width, height), flags=flags, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(turned, np.float32), Patch(middle_x, middle_y, patch.width, patch.height)
