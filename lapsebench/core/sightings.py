"""What is measured of stars and lamps, frame by frame, and the table of all of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.following import Kind

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]

LEAST_SEEN = 5
"""Frames of a piece."""
_PIECE = 60  # frames after which a point counts as another one: its light may drift
_LEAST_SNR = 2.5  # of a piece in the mean frame
_MEAN_PHASE = 1 / 3


@dataclass(frozen=True, slots=True)
class Lights:
    """Points measured in one frame, (k,): `light` above the surroundings (NaN not seen), light `around`, noise `sd`.

    `step`: the light that one code stands for there. `phase`: how a point lies on the px, 0 in the midst of one to 1/2 at a
    corner.
    """

    light: Floats
    around: Floats
    sd: Floats
    step: Floats
    phase: Floats


@dataclass(frozen=True, slots=True)
class Sighting:
    """The points of one frame, (k,): their `number`s, and their lights where each would be as a star and as a lamp."""

    number: Ints
    star: Lights
    lamp: Lights


@dataclass(frozen=True, slots=True)
class Table:
    """One row a point and frame, all (m,): `frame`, `piece` (0..p-1), whether it stands `still`, and its `Lights`.

    `phase` is off its mean, and 0 for what stands still.
    """

    frame: Ints
    piece: Ints
    still: Bools
    light: Floats
    around: Floats
    sd: Floats
    step: Floats
    phase: Floats

    def where(self, rows: Bools) -> Table:
        """Return the chosen rows, (m,), pieces numbered anew."""
        _, piece = np.unique(self.piece[rows], return_inverse=True)
        parts = (getattr(self, name)[rows] for name in ("still", *Lights.__slots__))
        return Table(self.frame[rows], piece.astype(np.intp), *parts)


def table_of(sightings: Sequence[Sighting | None], kinds: Mapping[int, Kind]) -> Table:
    """Return the table of all points of a known kind, each cut into pieces of `_PIECE` frames, at other frames each."""
    stars = np.array([number for number, kind in kinds.items() if kind is Kind.STAR], dtype=np.intp)
    lamps = np.array([number for number, kind in kinds.items() if kind is Kind.LAMP], dtype=np.intp)
    columns: list[list[NDArray[Any]]] = [[np.zeros(0)] for _ in range(3 + len(Lights.__slots__))]
    for i, sighting in enumerate(sightings):
        if sighting is None:
            continue
        for stands, which, lights in ((False, stars, sighting.star), (True, lamps, sighting.lamp)):
            at = np.flatnonzero(np.isin(sighting.number, which) & np.isfinite(lights.light))
            number = sighting.number[at]
            measured = [getattr(lights, name)[at] for name in Lights.__slots__]
            parts = (np.full(at.size, i), number, np.full(at.size, stands), *measured)
            for column, part in zip(columns, parts, strict=True):
                column.append(part)
    frame, number, still, light, around, sd, step, phase = (np.concatenate(column) for column in columns)
    still = still.astype(bool)
    piece = number * (len(sightings) // _PIECE + 2) + (frame + 7 * number % _PIECE) // _PIECE
    phase = np.where(still, 0.0, phase - _MEAN_PHASE)
    table = Table(frame.astype(np.intp), piece.astype(np.intp), still, light, around, sd, step, phase)
    return _seen_enough(table.where(np.ones(frame.size, bool)))


def _seen_enough(table: Table) -> Table:
    often = np.bincount(table.piece)[table.piece] >= LEAST_SEEN
    table = table.where(often)
    if not table.piece.size:
        return table
    snr = np.bincount(table.piece, table.light / table.sd) / np.bincount(table.piece)
    return table.where(snr[table.piece] > _LEAST_SNR)
