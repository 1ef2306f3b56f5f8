"""Stars and lamps as standard candles: their light tells the received exposure whatever the sky does.

Every point's light above its surroundings is (exposure of the frame) x (light of the point), and for a lamp a share of the
light around it besides, for the ground under it has a texture of its own. `candlefit` solves all of them together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.candlefit import CLEAR, ROUNDS_OF_DOUBT, CandleFit
from lapsebench.core.following import Kind
from lapsebench.core.sightings import LEAST_SEEN, Sighting, Table, table_of
from lapsebench.core.whitelight import into_point

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]

_JOINED = 5  # points on either side that tell the step between two frames
_FEW = 12  # points
_STEP_OVER = 6  # frames
_INTO_POINT = into_point(1)
_UNKNOWN_EV = 0.2  # stops, sd: what is told no better is not told
_MARKS_SD_EV = 0.12  # stops, sd: of a step that marks tell; the biases of two settings, and flicker
LEAST_MARKED_EV = 0.1
"""Stops: smaller changes of the marks tell nothing of a curve."""
_TILT_OF_ONE = 1.5  # natural log a stop, sd: by which the slopes tilt that one star tells; of few, most lie on single px
_CLEARLY, _MOST_OFF = 4.0, 9.0  # squares of standard errors


class Curve(Enum):
    """What is known of the curve that light is seen through: stars tell its slope while the sky behind them changes."""

    LINEAR = "known: nothing is left to tell"
    ESTIMATED = "known to some percent: what stars tell of it counts"
    ASSUMED = "not known to be another one: stars may say so"


@dataclass(frozen=True, slots=True)
class Bend:
    """How much too steep an estimated curve is: `slope` (k,), natural log, at light `at_ev` (k,), stops, evenly rising.

    `covariance`, (k, k): of the slopes, as the noise of the points and how they lie on their px leave it. `exposure_ev`,
    (n, k): stops of received exposure that go with each slope if it is held at more. `by_marks`: whether the points'
    exposures agree with the marks clearly better with this bend than without.
    """

    at_ev: Floats
    slope: Floats
    covariance: Floats
    exposure_ev: Floats
    by_marks: bool = False

    def among(self, n: int, frames: Ints) -> Bend:
        """Return the bend that `frames`, (m,), of n told, as one of them all: it does nothing to the others."""
        exposure = np.zeros((n, self.at_ev.size))
        exposure[frames] = self.exposure_ev
        return replace(self, exposure_ev=exposure)


@dataclass(frozen=True, slots=True)
class CandleLight:
    """`received_ev` (n,): exposure received, stops, up to a constant; `sd_ev` its standard error; NaN where not known.

    `count`: (n,) points that told it, -1 where none were asked. `bend`: of the curve they were seen through, if it is
    estimated, and taken into account; or if it is assumed and they surely say that it is another one.
    """

    received_ev: Floats
    sd_ev: Floats
    count: Ints
    bend: Bend | None = None


def candle_light(
    sightings: Sequence[Sighting | None],
    kinds: Mapping[int, Kind],
    guess_ev: Floats,
    *,
    curve: Curve = Curve.LINEAR,
    into: Floats = _INTO_POINT,
    marks_ev: Floats | None = None,
) -> CandleLight:
    """Return what the points tell of the exposure of n frames; `guess_ev` (n,) stops is where the search starts.

    `kinds` says by number what a point is; others are left out. `curve`: what the light is seen through. `into`: where the
    light of points lies above their surroundings, as `into_point` returns it. `marks_ev`: (n,) camera exposure, stops, NaN
    unknown; they bear out an assumed curve or another one.
    """
    table = table_of(sightings, kinds)
    start = _start(table, guess_ev)
    fit = _fitted(table, start, curved=curve is Curve.ESTIMATED, into=into)
    told = _read(fit, np.nan_to_num(guess_ev))
    if curve is not Curve.ASSUMED:
        return told
    doubt = CandleFit(fit.table, fit.n, fit.exposure / np.log(2), curved=True, into=into)
    doubt.solve(rounds=ROUNDS_OF_DOUBT)
    if not doubt.surely_bent():
        return told
    by_marks = marks_ev is not None and _off_marks(fit, marks_ev) - _off_marks(doubt, marks_ev) > _CLEARLY
    return replace(told, bend=replace(_bend(doubt), by_marks=by_marks))


def _off_marks(fit: CandleFit, marks_ev: Floats) -> float:
    """Return how far the steps of a fit are off the marks', squares of standard errors summed; no step counts for all."""
    seen = np.bincount(fit.table.frame, minlength=fit.n) >= LEAST_SEEN
    frames = np.flatnonzero(seen & np.isfinite(marks_ev))
    marked, told = np.diff(marks_ev[frames]), np.diff(fit.exposure[frames]) / np.log(2)
    off = (told - marked)[np.abs(marked) > LEAST_MARKED_EV] / _MARKS_SD_EV
    return float(np.minimum(off**2, _MOST_OFF).sum())


def _fitted(table: Table, start: Floats, *, curved: bool, into: Floats) -> CandleFit:
    """Return the fit to a table, unclear lamps left out, from exposures `start` (n,) stops on."""
    fit = CandleFit(table, start.size, start, curved=curved, into=into)
    fit.solve()
    table, dropped = fit.without_unclear_lamps()
    if dropped:
        fit = CandleFit(table, start.size, fit.exposure / np.log(2), curved=curved, into=into)
        fit.solve()
    return fit


def _start(table: Table, guess_ev: Floats) -> Floats:
    """Return where to start, (n,) stops: the clear stars' median ratio to the frame before, the guess where few are."""
    start = np.nan_to_num(guess_ev)
    clear = ~table.still & (table.light > CLEAR * table.sd)
    order = np.lexsort((table.frame[clear], table.piece[clear]))
    frame, piece = table.frame[clear][order], table.piece[clear][order]
    level = np.log2(table.light[clear][order])
    follows = (np.diff(piece) == 0) & (np.diff(frame) <= _STEP_OVER)
    before, after, ratio = frame[:-1][follows], frame[1:][follows], np.diff(level)[follows]
    change = np.diff(start, prepend=start[:1])
    last = np.arange(start.size) - 1
    for i in np.unique(after):
        rows = after == i
        from_frame = int(before[rows].max())
        rows &= before == from_frame
        if np.count_nonzero(rows) >= _FEW:
            change[i], last[i] = np.median(ratio[rows]), from_frame
    for i in range(1, start.size):
        start[i] = start[last[i]] + change[i]
    return start


def _read(fit: CandleFit, guess_ev: Floats) -> CandleLight:
    """Return what a fit tells; the exposures as a whole lie about `guess_ev` (n,), stops."""
    count = np.bincount(fit.table.frame, minlength=fit.n)
    sd = fit.disagreement() / np.sqrt(np.maximum(fit.info, 1e-12)) / np.log(2)
    known = (count >= _FEW) & (fit.info > 0) & (sd < _UNKNOWN_EV)
    bend = _bend(fit) if fit.bend.size else None
    received, sd = (np.where(known, told, np.nan) for told in (_anchored(fit, known, guess_ev), sd))
    return CandleLight(received, sd, count, bend)


def _bend(fit: CandleFit) -> Bend:
    tilt = tilt_of(np.bincount(fit.table.frame, minlength=fit.n)) * (fit.at_ev - fit.at_ev.mean())
    covariance, by_bend = fit.bend_told()
    return Bend(fit.at_ev, fit.bend, covariance + np.outer(tilt, tilt), by_bend / np.log(2))


def through(candles: CandleLight, slope: Floats) -> CandleLight:
    """Return what the points tell through a curve known to be too steep by `slope`, (k,), where their bend has its own."""
    if candles.bend is None:
        return candles
    received = candles.received_ev + candles.bend.exposure_ev @ (slope - candles.bend.slope)
    return replace(candles, received_ev=received)


def tilt_of(count: Ints) -> float:
    """Return by how much slopes may tilt, natural log a stop, sd, that so many points of each frame, (n,), tell together."""
    return _TILT_OF_ONE / max(float(np.median(count[count > 0])) if (count > 0).any() else 1.0, 1.0)


def _anchored(fit: CandleFit, known: Bools, guess_ev: Floats) -> Floats:
    """Return the exposures, (n,) stops; each run of frames that common points join lies about the guess as a whole.

    Where hardly a point is seen both before and after, at a gap, nothing tells the step between.
    """
    table = fit.table
    first, last = np.full(fit.pieces, fit.n), np.zeros(fit.pieces, np.intp)
    np.minimum.at(first, table.piece, table.frame)
    np.maximum.at(last, table.piece, table.frame)
    spans = np.cumsum(np.bincount(first, minlength=fit.n) - np.bincount(last, minlength=fit.n))
    run = np.concatenate([[0], np.cumsum(spans[:-1] < _JOINED)])
    received = fit.exposure / np.log(2)
    for number in np.unique(run[known]):
        members = known & (run == number)
        received[members] += np.median(guess_ev[members] - received[members])
    return np.asarray(received, dtype=float)
