"""The fit of stars and lamps: all exposures and all points solved together.

In linear light, where noise has mean zero, by Gauss-Newton steps with a Cauchy loss (Huber & Ronchetti 2009).
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median
from scipy.sparse import block_diag, csc_array, diags_array
from scipy.sparse.linalg import splu

from lapsebench.core.sightings import LEAST_SEEN, Table

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.intp]

_OWN = 0.05  # sd of a point's own light from frame to frame, as a share of it, where too few tell: twinkling, pixel phase
_OWN_RANGE = 0.015**2, 0.08**2  # its square, as learnt
_FAR_ABOVE = 10.0  # standard errors above the noise, from which on points tell it
_FEW = 500.0  # points that it is learnt from, which count as much as what was awaited
_LEAST_LEFT = 0.2  # share of its error that is left of a point
_MEDIAN = 0.6745  # median size of an error, standard errors
CLEAR = 8.0  # standard errors by which a lamp must stand out of its surroundings' texture
# What coding takes off every faint point, whose waves it rounds to nothing: less where noise carries them over the rounding.
_LOST_CODES, _DITHERED_CODES = 0.17, 0.2  # the mean without noise, and the noise at which 1/e of it is left
_LOST_SHARE, _LOST_LEAST = 1.5, 0.005  # sd, as a share of the mean, and at least
_LOST_WALK_CODES, _LOST_TURN_CODES = 0.003, 0.1  # sd of its change from frame to frame, and more a stop of exposure
_LEAST_MORE = 0.6  # times: unresolved stars, which turn with the others, are in the noise that was measured
_DROWNED, _SEEN = 1.0, 3.0  # codes of a point's light from which on it counts, and counts in full
_PULL, _MOST_PULL = 0.3, 0.6  # of a star's light: sd of what is awaited, and most
_FINE_CODES = 50.0  # codes of the usual point's light
_LOSS = 2.5
# Of a point's error and of the sky's noise in it, what is in the light around as measured too: the three Gaussians of
# `imaging.pointlight` for a star of 0.6 px (sd), and for white noise.
_OWN_AROUND, _NOISE_AROUND = 0.35, 0.19
# Near white those are left of a kind that noise made dim, and the curve would seem too flat there: points count by where
# their brightest px is awaited, white 1.
_TOP, _HIGH, _FULL = 1.7, 0.4, 0.8
_ROUNDS, ROUNDS_OF_DOUBT = 12, 6
_LEAST_ROUNDS, _SETTLED = 5, 3e-4  # natural log, rms: exposures that move no more are found
_BENDS = 10  # splines
_BEND, _BEND_TURN = 0.3, 0.06  # sd of an estimated curve's error of slope, as a share, and of its turns
_MOST_OF = (0.02, 0.99)  # of the points: what lies beyond, as half behind a tree, would get a bend of its own
_BENT, _SURELY = 0.2, 6.0  # least difference of slope, as a share, and in standard errors, that tells another curve
_ALIKE = 5000.0  # sightings, more of which tell no more of a curve: what the model is off by, some 0.1 %, is alike in all
_DARKEST = 1e-5


class CandleFit:
    """Working state: `exposure` (n,) natural log, `light` and `texture` (p,) of the pieces.

    `pull`: by how much less of a star is measured the farther it lies from the midst of a px, which spreads it (pixel phase,
    Lauer 1999): one share for all, to be multiplied by `phase`. `bend` (k,): natural log of how much too steep an estimated
    curve is at `hats` (m, k), linear B-splines over the stops of the light around; a star's light goes by that slope.
    """

    def __init__(self, table: Table, n: int, guess_ev: Floats, *, curved: bool, into: Floats) -> None:
        self.table, self.n, self.into = table, n, into
        self.guess = np.nan_to_num(guess_ev)
        self.exposure = self.guess * np.log(2)
        self.exposure -= self.exposure.mean()
        self.pieces = int(table.piece.max()) + 1 if table.piece.size else 0
        self.texture = np.zeros(self.pieces)
        self.lamp = np.zeros(self.pieces, bool)
        self.lamp[table.piece] = table.still
        self.light = np.zeros(self.pieces)
        self.robust = np.ones(table.piece.size)
        self.lost_mean = _usual_loss(table, n)
        self.lost = self.lost_mean.copy()
        self.pull = 0.0
        light = np.maximum(table.light, 0)
        ends = [np.log2(np.maximum(table.around + up * light, _DARKEST)) for up in into[[0, -1]]]
        low, high = (
            float(np.quantile(end, share)) if light.size else 0.0 for end, share in zip(ends, _MOST_OF, strict=True)
        )
        self.at_ev = np.linspace(low, high, _BENDS if curved and high > low else 0)
        self.hats = np.zeros((light.size, self.at_ev.size))
        self.bend = np.zeros(self.at_ev.size)
        codes = table.light / np.maximum(table.step, 1e-12)
        self.fine = bool(codes.size and np.median(codes) >= _FINE_CODES)
        self.own = _OWN
        self.info = np.zeros(n)
        self.error = np.full(self.pieces, np.inf)

    def solve(self, rounds: int = _ROUNDS) -> None:
        """Fit pieces and exposures until they have settled, for so many rounds at most; bad sightings count for less."""
        if not self.pieces:
            return
        for round_ in range(rounds):
            before = self.exposure.copy()
            self._fit_pieces()
            self._place_bends()
            self._fit_exposures()
            self._fit_pull()
            if round_ >= 2:
                self._learn_own()
                self._reweigh()
            if round_ >= _LEAST_ROUNDS and np.std(self.exposure - before) < _SETTLED:
                break
        self._fit_pieces()

    def _place_bends(self) -> None:
        """Put each point where its px lie on the curve, from the light around it up to its top.

        By what is awaited of its light: what was measured errs, and would seem to bend with its own error.
        """
        if self.bend.size:
            point = self._awaited()
            around = self._around(point)
            levels = (np.log2(np.maximum(around + up * point, _DARKEST)) for up in self.into)
            self.hats = np.asarray(np.mean([splines_at(level, self.at_ev) for level in levels], axis=0))

    def _awaited(self) -> Floats:
        """Return what is awaited of each point's light before the curve bends it, (m,)."""
        return np.asarray(np.exp(self.exposure)[self.table.frame] * np.maximum(self.light[self.table.piece], 0), dtype=float)

    def _around(self, point: Floats) -> Floats:
        """Return the light around each point, (m,), without what the error of its own, awaited as `point`, adds to it.

        A star that happens to look brighter brightens its surroundings, too, and the curve would seem too steep there.
        """
        table = self.table
        own, noise = (self.own * point) ** 2, np.maximum(table.sd, 1e-12) ** 2
        share = (_OWN_AROUND * own + _NOISE_AROUND * noise) / (own + noise)
        return np.asarray(table.around + np.where(table.still, 0.0, share * (point - table.light)), dtype=float)

    def _received(self) -> Floats:
        received = np.exp(self.exposure)[self.table.frame] * (1 + self.pull * self.table.phase)
        return np.asarray(received * np.exp(self.hats @ self.bend), dtype=float)

    def _weight(self) -> Floats:
        awaited = self._received() * self.light[self.table.piece]
        weight: Floats = self.robust / (self.table.sd**2 + (self.own * awaited) ** 2)
        return weight

    def _sum(self, values: Floats) -> Floats:
        return np.bincount(self.table.piece, values, minlength=self.pieces).astype(float)

    def _fit_pieces(self) -> None:
        """Solve light and, for lamps, texture of each piece at the present exposures."""
        table, received, weight = self.table, self._received(), self._weight()
        light = table.light + self.lost[table.frame] * table.step
        rr, rf = self._sum(weight * received**2), self._sum(weight * received * light)
        rb, bb = self._sum(weight * received * table.around), self._sum(weight * table.around**2)
        bf = self._sum(weight * table.around * light)
        rb = np.where(self.lamp, rb, 0.0)
        det = np.maximum(rr * bb - rb**2, 1e-9 * rr * bb)
        self.light = (bb * rf - rb * np.where(self.lamp, bf, 0.0)) / det
        self.texture = np.where(self.lamp, (rr * bf - rb * rf) / det, 0.0)
        self.error = np.sqrt(bb / det)

    def _fit_exposures(self) -> None:
        """One Gauss-Newton step of exposures and lights together."""
        table = self.table
        received, weight = self._received(), self._weight()
        by_exposure = received * self.light[table.piece]
        off = self._off(by_exposure)
        rows = np.arange(off.size)
        lamps = np.flatnonzero(self.lamp)
        place = np.full(self.pieces, -1)
        place[lamps] = self.n + self.pieces + np.arange(lamps.size)
        on_lamp = np.flatnonzero(table.still)
        size = self.n + self.pieces + lamps.size
        bent, which = np.nonzero(self.hats)
        row = np.concatenate([rows, rows, on_lamp, rows, bent])
        lost, bend = size + table.frame, size + self.n + which
        col = np.concatenate([table.frame, self.n + table.piece, place[table.piece[on_lamp]], lost, bend])
        scale = np.maximum(np.abs(self.light), 1e-12)[table.piece]
        by_bend = by_exposure[bent] * self.hats[bent, which]
        value = np.concatenate([by_exposure, received * scale, table.around[on_lamp], -table.step, by_bend])
        root = np.sqrt(weight)
        jacobian = csc_array((value * root[row], (row, col)), shape=(off.size, size + self.n + self.bend.size))
        normal = (jacobian.T @ jacobian).tocsc()
        ridge = normal.diagonal() * 1e-6 + 1e-9 * normal.diagonal().max() + 1e-30
        ridge[: self.n] += 1e-3
        prior, bend_prior = self._lost_prior, _bend_prior(self.bend.size)
        normal.setdiag(normal.diagonal() + ridge)
        normal = normal + block_diag([csc_array((size, size)), prior, csc_array(bend_prior)], format="csc")
        right = jacobian.T @ (root * off)
        right[size : size + self.n] -= prior @ (self.lost - self.lost_mean)
        right[size + self.n :] -= bend_prior @ self.bend
        self._solver = splu(csc_array(normal))
        change = self._solver.solve(right)
        self.exposure += np.clip(change[: self.n], -1.0, 1.0)
        self.lost += np.clip(change[size : size + self.n], -1.0, 1.0)
        self.bend += np.clip(change[size + self.n :], -0.3, 0.3)
        own, both, lost = (
            np.bincount(table.frame, weight * part, minlength=self.n)
            for part in (by_exposure**2, by_exposure * table.step, table.step**2)
        )
        self.info = np.asarray(own - both**2 / (lost + prior.diagonal()), dtype=float)

    def _fit_pull(self) -> None:
        """Solve the pull at the present exposures and lights."""
        by_exposure, weight = self._received() * self.light[self.table.piece], self._weight()
        if not self.fine:
            return  # what rounding takes off a point depends on how it lies, too, and is not in proportion to its light
        slope = by_exposure * self.table.phase
        change = (weight * slope * self._off(by_exposure)).sum() / ((weight * slope**2).sum() + _PULL**-2)
        self.pull = float(np.clip(self.pull + change, -_MOST_PULL, _MOST_PULL))

    @cached_property
    def _lost_prior(self) -> csc_array:
        """The precision (n, n) of what coding takes off: small, and much the same in neighbours of like exposure."""
        walk = _LOST_WALK_CODES + _LOST_TURN_CODES * np.minimum(np.abs(np.diff(self.guess)), 1.0)
        between = diags_array(np.tile([[-1.0], [1.0]], self.n), offsets=[0, 1], shape=(self.n - 1, self.n))
        own = diags_array((_LOST_LEAST + _LOST_SHARE * self.lost_mean) ** -2)
        return csc_array(between.T @ diags_array(1 / walk**2) @ between + own)

    def _off(self, by_exposure: Floats) -> Floats:
        """Return what the model leaves of each measure, (m,)."""
        table = self.table
        off: Floats = table.light - by_exposure - self.texture[table.piece] * table.around
        return off + self.lost[table.frame] * table.step

    def _learn_own(self) -> None:
        """Learn by how much points' own light changes from frame to frame, from those that stand far above the noise.

        What the exposure of its frame and the light of its piece take of a point's error is given back.
        """
        table = self.table
        received = self._received() * self.light[table.piece]
        clear = received > _FAR_ABOVE * table.sd
        count = np.count_nonzero(clear)
        if not count:
            return
        told = self._weight() * received**2
        by_frame = np.bincount(table.frame, told, minlength=self.n)[table.frame]
        taken = told[clear] * (1 / by_frame[clear] + 1 / self._sum(told)[table.piece][clear])
        square = self._off(received)[clear] ** 2 / np.maximum(1 - taken, _LEAST_LEFT)
        usual = np.median((square - (_MEDIAN * table.sd[clear]) ** 2) / received[clear] ** 2) / _MEDIAN**2
        self.own = float(np.sqrt((count * np.clip(usual, *_OWN_RANGE) + _FEW * _OWN**2) / (count + _FEW)))

    def _reweigh(self) -> None:
        table = self.table
        received = self._received() * self.light[table.piece]
        off = self._off(received)
        sd = np.sqrt(table.sd**2 + (self.own * received) ** 2)
        clear = np.clip((received / np.maximum(table.step, 1e-12) - _DROWNED) / (_SEEN - _DROWNED), 1e-3, 1.0)
        self.robust = clear / (1 + (off / (_LOSS * sd)) ** 2)
        if self.bend.size:
            point = self._awaited()
            top = self._around(point) + _TOP * self.into[-1] * point
            self.robust *= np.clip((_FULL - top) / (_FULL - _HIGH), 1e-3, 1.0)

    def bend_told(self) -> tuple[Floats, Floats]:
        """Return the covariance of the bends, (k, k), and what each does to the exposures if it is held at more, (n, k).

        The covariance is what noise and the points' own light leave; exposures go with a bend where stars are alike.
        """
        bends = self.bend.size
        if not self.pieces or not bends:
            return np.eye(bends) * _BEND**2, np.zeros((self.n, bends))
        size = self._solver.shape[0]
        solved = self._solver.solve(np.eye(size, bends, bends - size))
        covariance = (solved[-bends:] + solved[-bends:].T) / 2
        alike = max(1.0, self.table.piece.size / _ALIKE)
        return alike * covariance, np.asarray(np.linalg.solve(covariance, solved[: self.n].T).T, dtype=float)

    def surely_bent(self) -> bool:
        """Whether the points surely say that the curve they were seen through is another one."""
        if not self.pieces or not self.bend.size:
            return False
        apart = np.zeros(self._solver.shape[0])
        ends = apart.size - self.bend.size + np.array([self.bend.argmax(), self.bend.argmin()])
        apart[ends] = 1.0, -1.0
        error = float(np.sqrt(apart @ self._solver.solve(apart)))
        return float(np.ptp(self.bend)) > max(_BENT, _SURELY * error)

    def without_unclear_lamps(self) -> tuple[Table, bool]:
        """Return the table without lamps whose light can't be told from the texture around them, and whether any were."""
        unclear = self.lamp & (self.light < CLEAR * self.error)
        return self.table.where(~unclear[self.table.piece]), bool(unclear.any())

    def disagreement(self) -> Floats:
        """Return how far the points of each frame disagree, (n,), in units of the noise awaited: clouds let them do so."""
        table = self.table
        received = self._received() * self.light[table.piece]
        off = np.abs(self._off(received)) / np.sqrt(table.sd**2 + (self.own * received) ** 2)
        count = np.bincount(table.frame, minlength=self.n)
        usual = 1.4826 * _usual(off, table.frame, self.n)
        return np.where(count >= LEAST_SEEN, np.maximum(usual, _LEAST_MORE), 1.0)


def _usual_loss(table: Table, n: int) -> Floats:
    """Return how many codes of each faint point coding usually takes off in each of n frames, by the noise there, (n,).

    The mean error of rounding falls with the noise as exp(-(noise / step)^2) does (Widrow & Kollar 2008, on dither).
    """
    noise = _usual(table.sd / np.maximum(table.step, 1e-12), table.frame, n)
    return np.asarray(_LOST_CODES * np.exp(-((noise / _DITHERED_CODES) ** 2)))


def _usual(values: Floats, frame: Ints, n: int) -> Floats:
    """Return the median of the values (m,) of each of n frames, infinite where there are none."""
    usual = np.full(n, np.inf)
    frames = np.unique(frame)
    if frames.size:
        usual[frames] = median(values, frame, frames)
    return usual


def splines_at(stops: Floats, at: Floats) -> Floats:
    """Return the linear B-splines with even knots `at` (k,) at `stops` (m,), those beyond the ends as at them, (m, k)."""
    if not at.size:
        return np.zeros((stops.size, 0))
    place = np.clip((stops - at[0]) / max(at[-1] - at[0], 1e-6), 0, 1) * (at.size - 1)
    return np.asarray(np.maximum(1 - np.abs(place[:, None] - np.arange(at.size)), 0.0))


def _bend_prior(count: int) -> Floats:
    """Return the precision (count, count) of the bends: some percent, and smooth."""
    turns = np.diff(np.eye(count), n=2, axis=0) if count else np.zeros((0, 0))
    return np.asarray(turns.T @ turns / _BEND_TURN**2 + np.eye(count) / _BEND**2)
