"""Hot pixels of a sensor: found where they stand still while the stars move, mended from their neighbours of one colour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.mosaic import Mosaic

Indices = NDArray[np.intp]

_NEIGHBOURS = 8
_REACH = 4
_BAND_ROWS = 384
_OVER_SPREAD = 1.5  # times the spread of the neighbours: 0.5 % of plain noise
_MOST_CANDIDATES = 0.05  # of all photosites; a frame of other stuff tells nothing
_SHARE = 0.8  # of the frames in which a hot pixel must stand out
_LEAST_RISE = 0.001  # of the sensor's range
_MOST_SPILL = 0.12  # of a hot pixel's rise in the photosites beside it: light is blurred by the lens, heat is not


@dataclass(frozen=True, slots=True, eq=False)
class HotPixels:
    """`rows` and `cols` of hot photosites in upright mosaics of one `shape`."""

    rows: Indices
    cols: Indices
    shape: tuple[int, ...]

    @staticmethod
    def learn(mosaics: Sequence[Mosaic]) -> HotPixels:
        """Find the photosites that stand out in nearly all `mosaics`, 5 to 12 frames spread over a shot.

        A hot pixel rises above its neighbours of one colour by more than those differ, and lifts no photosite beside it:
        stars move on, and lamps are blurred over several. ValueError for fewer than 3 mosaics or for different ones.
        """
        if len(mosaics) < 3:
            raise ValueError("hot pixels are learnt from 3 frames or more")
        first = mosaics[0]
        if any(m.codes.shape != first.codes.shape or not np.array_equal(m.pattern, first.pattern) for m in mosaics):
            raise ValueError("hot pixels are learnt from frames of one camera, held one way")
        found = np.concatenate([_standing_out(mosaic) for mosaic in mosaics])
        sites, counts = np.unique(found, return_counts=True)
        rows, cols = np.unravel_index(sites[counts >= np.ceil(_SHARE * len(mosaics))], first.codes.shape)
        return HotPixels(rows, cols, first.codes.shape)


def mend(mosaic: Mosaic, hot: HotPixels) -> Mosaic:
    """Return the mosaic with hot photosites replaced by the median of their neighbours of one colour.

    ValueError for a mosaic of another size than they were learnt from.
    """
    if mosaic.codes.shape != hot.shape:
        raise ValueError(f"hot pixels of {hot.shape} don't fit a mosaic of {mosaic.codes.shape}")
    codes = mosaic.codes.copy()
    period = mosaic.pattern.shape[0]
    for row, col in np.ndindex(mosaic.pattern.shape):
        here = (hot.rows % period == row) & (hot.cols % period == col)
        if here.any():
            around = _around(mosaic, hot.rows[here], hot.cols[here], row, col)
            codes[hot.rows[here], hot.cols[here]] = np.rint(np.median(around, axis=0))
    return replace(mosaic, codes=codes)


def _offsets(pattern: NDArray[np.uint8], row: int, col: int) -> list[tuple[int, int]]:
    """Return the nearest photosites of the colour at a place of the tile, as (rows, cols) away, nearest first."""
    period = pattern.shape[0]
    reach = range(-_REACH, _REACH + 1)
    colour = pattern[row % period, col % period]
    like = [(i, j) for i in reach for j in reach if (i or j) and pattern[(row + i) % period, (col + j) % period] == colour]
    return sorted(like, key=lambda at: at[0] ** 2 + at[1] ** 2)[:_NEIGHBOURS]


def _around(mosaic: Mosaic, rows: Indices, cols: Indices, row: int, col: int) -> NDArray[np.float32]:
    """Return codes of the like neighbours of photosites at one place of the tile, over black like their own, (8, n)."""
    own = _dark(mosaic, rows, cols)
    places = [
        (_inside(rows + i, mosaic.codes.shape[0], i), _inside(cols + j, mosaic.codes.shape[1], j))
        for i, j in _offsets(mosaic.pattern, row, col)
    ]
    return np.stack([mosaic.codes[at] - _dark(mosaic, *at) + own for at in places]).astype(np.float32)


def _inside(places: Indices, size: int, step: int) -> Indices:
    """Return the places, those beyond an edge mirrored about the photosite they belong to."""
    return np.where((places < 0) | (places >= size), places - 2 * step, places)


def _dark(mosaic: Mosaic, rows: Indices, cols: Indices) -> NDArray[np.float32]:
    height, width = mosaic.black.shape
    dark: NDArray[np.float32] = mosaic.black[rows % height, cols % width]
    return dark


def _standing_out(mosaic: Mosaic) -> Indices:
    """Return the flat places of photosites that stand out alone in one frame."""
    found = [place for row, col in np.ndindex(mosaic.pattern.shape) for place in _peaks(mosaic, row, col)]
    return np.concatenate(found) if found else np.empty(0, np.intp)


def _peaks(mosaic: Mosaic, row: int, col: int) -> list[Indices]:
    """Return those at one place of the tile, band by band."""
    period = mosaic.pattern.shape[0]
    height, width = mosaic.codes.shape
    offsets = _offsets(mosaic.pattern, row, col)
    least = max(1.0, _LEAST_RISE * (max(mosaic.white) - float(mosaic.black.max())))
    first_col = col + -(-max(0, _REACH - col) // period) * period
    first_row = row + -(-max(0, _REACH - row) // period) * period
    found = []
    for top in range(first_row, height - _REACH, _BAND_ROWS // period * period):
        end = min(top + _BAND_ROWS // period * period, height - _REACH)

        def view(i: int, j: int, top: int = top, end: int = end) -> NDArray[np.uint16]:
            return mosaic.codes[top + i : end + i : period, first_col + j : width - _REACH + j : period]

        second, lower = _inner_range([view(i, j) for i, j in offsets])
        rise = view(0, 0).astype(np.float32) - second
        at = np.argwhere(rise > np.maximum(least, _OVER_SPREAD * (second.astype(np.float32) - lower)))
        if at.size and len(at) < _MOST_CANDIDATES * rise.size + 100:
            rows, cols = top + at[:, 0] * period, first_col + at[:, 1] * period
            alone = _alone(mosaic, rows, cols, row, col)
            found.append(rows[alone] * width + cols[alone])
    return found


def _inner_range(around: list[NDArray[np.uint16]]) -> tuple[NDArray[np.uint16], NDArray[np.uint16]]:
    """Return the second largest and the second smallest of some arrays, place by place."""
    largest, second = np.maximum(around[0], around[1]), np.minimum(around[0], around[1])
    smallest, lower = second, largest
    for codes in around[2:]:
        second = np.maximum(second, np.minimum(largest, codes))
        largest = np.maximum(largest, codes)
        lower = np.minimum(lower, np.maximum(smallest, codes))
        smallest = np.minimum(smallest, codes)
    return second, lower


def _alone(mosaic: Mosaic, rows: Indices, cols: Indices, row: int, col: int) -> NDArray[np.bool_]:
    """Tell which photosites lift none beside them: those stay at the median of their own like neighbours."""
    own = mosaic.codes[rows, cols] - np.median(_around(mosaic, rows, cols, row, col), axis=0)
    lifts = []
    for i, j in ((-1, 0), (1, 0), (0, -1), (0, 1)):
        beside = rows + i, cols + j
        usual = np.median(_around(mosaic, *beside, row + i, col + j), axis=0)
        lifts.append(mosaic.codes[beside] - usual)
    spread = np.median(np.abs(lifts), axis=0)
    alone: NDArray[np.bool_] = np.mean(lifts, axis=0) < _MOST_SPILL * own + 0.5 * spread
    return alone
