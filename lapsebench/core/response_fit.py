"""Finds the camera's response from tiles on either side of setting changes.

Two frames at a known exposure ratio are the same scene at two codes each: h(code2) - h(code1) = ratio in stops, for all
tiles alike (Debevec & Malik, SIGGRAPH 1997). Here h is sRGB plus a penalised spline, one free offset a pair stands for the
shutter's own error and the sky, and a Cauchy loss for the tiles that moved. Both codes are noisy, so that plain least
squares would flatten h: the equations are solved with instruments, the codes that the fit itself expects about the middle
of each tile's two (instrumental variables; Wright 1928). The marks then give h its scale, less the sky's own slope.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import t as student_t

from lapsebench.core.response import Origin, Response, knots, srgb_response
from lapsebench.core.response_samples import Around, Floats, Samples, samples_of, srgb_stops
from lapsebench.core.response_scale import Jumps, is_off_scale, scale_of, scales_of
from lapsebench.core.response_spline import BASIS, CODES, FINE, PLAIN, PLAIN_RISE, PRIOR, SLOPES, Place, curve_of, splines
from lapsebench.core.response_still import still_curve

_NOISE_EV = 0.03
_CODE_ERROR = 0.5 / 255
_TILES_WORTH = 40  # neighbouring tiles err together: no pair counts for more than this many
_OFFSET_SD = (0.02, 0.25)  # stops, least and most that shutter and sky are taken to be off the marks by
_STILL_SD = 0.025  # stops of offset under which shutter and scene count as exact and still
_ROUNDS = 8
_FOLDS = 6
_LEAST_CHANGES = 3  # two losses do not tell a spread: a night of sRGB with two was taken for a curve
_WORTH_IT = 0.965
_SURE = 0.9  # one-sided, of Student t
_OWN = 0.6
_CLIPS, _NEVER_CLIPS = 0.25, 1.0  # times a tile's own change under white: may clip, and never does
_CLEARLY = 0.06  # stops to a stop
_FLICKER_EV, _UNSEEN_EV = 0.1, 0.2


def fit_responses(shots: Sequence[Around], *, hint: Response | None = None) -> tuple[Response, ...]:
    """Return the responses of the channels, as the frames around the setting changes of all shots tell them together.

    They are of the pictures only where the marks surely ask for more or less contrast than sRGB's, or where the fit predicts
    the tiles of setting changes that it was not fitted to surely and worthwhile better than sRGB does, misfits taken alike:
    with one free offset a pair, in stops of equal size; or where something else tells another curve, the `hint` of the
    middle channel, and the marks agree with that better. All channels get the curve of the middle one, green: coding
    keeps it whole, while red and blue are coarse and noisy in the dark and were told worse by themselves. A channel gets its
    own where that explains it far better.
    """
    black = np.min([shot.black for shot in shots], axis=0)
    leading = black.size // 2
    samples = samples_of(shots, leading)
    changes = samples.changes
    if changes < _LEAST_CHANGES:
        return tuple(srgb_response(changes=changes, black_code=float(code)) for code in black)
    lead = _Fit(samples)
    if not (_better(*lead.losses()) or is_off_scale(lead.jumps(PLAIN)) or (hint and _agreed(lead, hint))):
        misfit = lead.misfit_ev
        return tuple(
            srgb_response(Origin.SRGB_FITS, misfit_ev=misfit, changes=changes, black_code=float(code)) for code in black
        )
    parts = [samples if c == leading else samples_of(shots, c) for c in range(black.size)]
    if lead.offset_sd <= _STILL_SD:
        return tuple(_still_response(part, float(code), lead) for part, code in zip(parts, black, strict=True))
    fits = [lead if c == leading else _own_or(lead, part) for c, part in enumerate(parts)]
    scales = scales_of([fit.jumps(fit.curve) for fit in fits])
    return tuple(_response(fit, scale, float(code)) for fit, scale, code in zip(fits, scales, black, strict=True))


def _own_or(lead: _Fit, part: Samples) -> _Fit:
    """Return the fit to the samples of one channel where it explains them far better than that of the leading channel."""
    if part.changes < _LEAST_CHANGES:
        return lead
    fit = _Fit(part)
    return fit if fit.held_out().sum() < _OWN * fit.loss(lead.curve).sum() else lead


def _response(fit: _Fit, scale: float, black: float) -> Response:
    codes = knots()
    ev = np.interp(codes, CODES, fit.curve) / scale
    told = tuple(codes.tolist()), tuple((ev - ev[-1]).tolist())
    return Response(*told, Origin.MEASURED, fit.misfit_ev, fit.samples.changes, black)


def _still_response(part: Samples, black: float, lead: _Fit) -> Response:
    """Return the response of one channel where the marks proved exact and the scene still: each follows its own tiles."""
    ev = still_curve(part) if part.changes >= _LEAST_CHANGES else still_curve(lead.samples)
    told = tuple(knots().tolist()), tuple(ev.tolist())
    return Response(*told, Origin.MEASURED, lead.misfit_ev, lead.samples.changes, black)


def _better(than: Floats, loss: Floats) -> bool:
    """Return whether the losses `loss`, one a setting change, are surely and worthwhile below those of `than`.

    Sureness goes by ratios: one change at which much was lost must not drown what all the others say.
    """
    gain = np.log(np.maximum(than, 1e-12) / np.maximum(loss, 1e-12))
    error = gain.std(ddof=1) / np.sqrt(gain.size)
    return bool(loss.sum() < _WORTH_IT * than.sum() and gain.mean() > student_t.ppf(_SURE, gain.size - 1) * error)


def _agreed(fit: _Fit, hint: Response) -> bool:
    """Whether the marks agree with another curve clearly better than with sRGB."""
    curve = np.interp(CODES, hint.codes, hint.ev)
    plain, hinted = (abs(scale_of(fit.jumps(each)) - 1) for each in (PLAIN, curve))
    return hinted < plain - _CLEARLY


@dataclass(slots=True)
class _Parts:
    """The equations of the fit, the offsets eliminated, one a fold: (folds, basis, basis) and (folds, basis)."""

    left: Floats
    right: Floats


class _Fit:
    """One curve for all `samples`: `curve` is h, stops of any scale, over `CODES`."""

    def __init__(self, samples: Samples) -> None:
        self.samples = samples
        self._starts = np.searchsorted(samples.pair, np.arange(samples.jump_ev.size))
        self._count = np.bincount(samples.pair)
        self._worth = np.minimum(self._count, _TILES_WORTH) / self._count
        self._low, self._high = samples.codes[:, 1], samples.codes[:, 2]
        self._low_place, self._high_place = Place(self._low), Place(self._high)
        self._design = splines(self._high) - splines(self._low)
        self._plain = srgb_stops(self._high) - srgb_stops(self._low)
        self._variance = _NOISE_EV**2 + self._code_noise() ** 2
        self._variance = self._variance + self._activity() ** 2
        _, place = np.unique(samples.change, return_inverse=True)
        self._folds = np.asarray(place * min(_FOLDS, samples.changes) // samples.changes)
        self.offset_sd = _OFFSET_SD[1]
        self._sound = np.ones(samples.pair.size)
        self._parts = self._solve()

    def held_out(self) -> Floats:
        """Return the loss of each pair under the curve fitted to the pairs of other setting changes."""
        left, right = (part.sum(axis=0) - part for part in (self._parts.left, self._parts.right))
        loss = np.zeros(self._count.size)
        for fold, equations in enumerate(zip(left + PRIOR, right, strict=True)):
            held = self._folds == fold
            loss[held] = self.loss(curve_of(np.linalg.solve(*equations)))[held]
        return loss

    def losses(self) -> tuple[Floats, Floats]:
        """Return the losses, summed over each setting change, under sRGB and held out under the fit."""
        _, place = np.unique(self.samples.change, return_inverse=True)
        plain, held_out = self.loss(PLAIN), self.held_out()
        return np.bincount(place, weights=plain).astype(float), np.bincount(place, weights=held_out).astype(float)

    @property
    def misfit_ev(self) -> float:
        """Robust root-mean-square disagreement of the tiles, stops."""
        off, slope = self._residual(self.curve)
        off = (off - self._centres(off, self._variance)[self.samples.pair]) / slope
        return float(1.4826 * np.median(np.abs(off)))

    def jumps(self, curve: Floats) -> Jumps:
        """Return the jumps of neighbouring frames at setting changes in a curve's stops, less the sky's own slope around."""
        samples, near = self.samples, self.samples.next_to
        stops = np.interp(samples.codes, CODES, curve)
        turns = np.stack([self._centres(turn, self._variance) for turn in np.diff(stops, axis=1).T], axis=1)[near]
        sky = turns[:, [0, 2]]
        known = np.isfinite(sky)
        slope = np.where(known, sky, 0.0).sum(axis=1) / np.maximum(known.sum(axis=1), 1)
        turn = np.where(known.all(axis=1), (sky[:, 1] - sky[:, 0]) / 2, _UNSEEN_EV)
        return Jumps(samples.change[near], turns[:, 1] - slope, samples.jump_ev[near], 1 / (_FLICKER_EV**2 + turn**2))

    def _solve(self) -> _Parts:
        pair, jump = self.samples.pair, self.samples.jump_ev
        self.curve = PLAIN
        off, _ = self._residual(PLAIN)
        offset = self._medians(off - jump[pair])
        target = jump[pair] - self._plain
        for _ in range(_ROUNDS):
            step, slope = self._residual(self.curve)
            off = step - (jump + offset)[pair]
            self._sound = self._whole(off, jump + offset)
            weight = self._robust(off, self._variance * slope**2) * self._sound
            instruments = self._expected(jump + offset)
            parts, sums = self._equations(instruments, weight, target)
            solved = np.linalg.solve(parts.left.sum(axis=0) + PRIOR, parts.right.sum(axis=0))
            mean, total, design = sums
            offset = -(mean - design @ solved) / total
            self.offset_sd = float(np.clip(1.4826 * np.median(np.abs(offset)), *_OFFSET_SD))
            moved = np.abs(curve_of(solved) - self.curve).max()
            self.curve = curve_of(solved)
            if moved < 0.002:
                break
        return parts

    def _equations(
        self, instruments: Floats, weight: Floats, target: Floats
    ) -> tuple[_Parts, tuple[Floats, Floats, Floats]]:
        """Return the parts of the folds, and per pair the weighted target, weight and design that give the offsets."""
        starts = self._starts
        weighted = instruments * weight[:, None]
        total = np.add.reduceat(weight, starts) + 1 / self.offset_sd**2
        mean = np.add.reduceat(weight * target, starts)
        design = np.add.reduceat(self._design * weight[:, None], starts, axis=0)
        centre = np.add.reduceat(weighted, starts, axis=0) / total[:, None]
        folds = int(self._folds.max()) + 1
        left, right = np.zeros((folds, BASIS, BASIS)), np.zeros((folds, BASIS))
        for pair, (fold, start, count) in enumerate(zip(self._folds, starts, self._count, strict=True)):
            rows = slice(start, start + count)  # so few at a time are summed without threads that wait for each other
            left[fold] += weighted[rows].T @ self._design[rows] - np.outer(centre[pair], design[pair])
            right[fold] += target[rows] @ weighted[rows] - centre[pair] * mean[pair]
        return _Parts(left, right), (mean, total, design)

    def _middle(self) -> Floats:
        """Return the curve's stops half-way between each tile's two codes, (m,)."""
        return (self._low_place.of(self.curve) + self._high_place.of(self.curve)) / 2

    def _whole(self, off: Floats, jump: Floats) -> Floats:
        """Return how far each tile's chance of being clipped is the same whatever its light did, (m,), 0..1.

        Clipped tiles are left out: near white those are left that dimmed by themselves, which would steepen the curve. So
        tiles count by where the curve expects the brighter of their codes, against how much tiles change.
        """
        below = -(self._middle() + np.abs(jump)[self.samples.pair] / 2)
        change = max(1.4826 * float(np.median(np.abs(off))), _NOISE_EV)
        return np.asarray(np.clip((below / change - _CLIPS) / (_NEVER_CLIPS - _CLIPS), 1e-3, 1.0))

    def _expected(self, jump: Floats) -> Floats:
        """Return the design at the codes that the curve expects a `jump` (p,) apart, about the middle of each tile's two."""
        middle, half = self._middle(), jump[self.samples.pair] / 2
        return splines(np.interp(middle + half, self.curve, CODES)) - splines(np.interp(middle - half, self.curve, CODES))

    def _residual(self, curve: Floats) -> tuple[Floats, Floats]:
        """Return each tile's step in `curve`'s stops, and the curve's slope there against sRGB's."""
        slope = np.gradient(curve) / PLAIN_RISE
        low, high = self._low_place, self._high_place
        return high.of(curve) - low.of(curve), np.clip((low.of(slope) + high.of(slope)) / 2, *SLOPES)

    def _robust(self, off: Floats, variance: Floats) -> Floats:
        """Return the weights of tiles that are `off` by stops: a Cauchy loss, wider for pairs that scatter more."""
        pair, weight = self.samples.pair, self.samples.weight
        square = off**2 / variance
        spread = np.bincount(pair, weights=weight * np.minimum(square, 9)) / np.bincount(pair, weights=weight)
        spread = np.maximum(spread, 0.25)
        robust: Floats = weight / variance / (1 + square / (4 * spread[pair])) * (self._worth / spread)[pair]
        return robust

    def loss(self, curve: Floats) -> Floats:
        """Return the loss of each pair under a curve with the pair's best offset, in sRGB's stops whatever its scale."""
        off, slope = self._residual(curve)
        variance = self._variance * slope**2
        square = (off - self._centres(off, variance)[self.samples.pair]) ** 2 / variance
        sound = self.samples.weight * self._sound
        total = np.bincount(self.samples.pair, weights=sound * np.log1p(square / 4))
        return total / np.bincount(self.samples.pair, weights=sound)

    def _centres(self, off: Floats, variance: Floats) -> Floats:
        """Return the robust mean of each pair's `off`, (p,); NaN where none of its tiles is known."""
        pair, centre = self.samples.pair, self._medians(off)
        for _ in range(4):
            weight = self.samples.weight / variance / (1 + (off - centre[pair]) ** 2 / (4 * variance))
            centre = np.bincount(pair, weights=weight * off) / np.bincount(pair, weights=weight)
        return centre

    def _medians(self, values: Floats) -> Floats:
        """Return each pair's median of `values` (m,), steady tiles counting more, (p,); NaN where a value is unknown."""
        known = np.nan_to_num(values, nan=np.nanmax(values, initial=0.0))
        order = np.argsort(self.samples.pair * (2 * np.abs(known).max(initial=0.0) + 1) + known)  # one pair after the other
        passed = np.cumsum((self.samples.weight / self._variance)[order])
        before = np.concatenate([[0.0], passed])[self._starts]
        half = (before + np.append(before[1:], passed[-1])) / 2
        medians = values[order][np.searchsorted(passed, half).clip(max=values.size - 1)]
        unknown = np.bincount(self.samples.pair, weights=np.isnan(values)) > 0
        return np.where(unknown, np.nan, medians)

    def _code_noise(self) -> Floats:
        """Return the stops that an error of a code is worth in the darker of a tile's two codes."""
        dark = np.maximum(np.minimum(self._low, self._high), 3 / 255)
        return np.asarray(np.interp(dark, CODES, PLAIN_RISE) * FINE * _CODE_ERROR)

    def _activity(self) -> Floats:
        """Return how much each tile's light changes by itself, stops a frame: more than its pair does, before and after."""
        stops = srgb_stops(self.samples.codes)
        turns = np.stack([stops[:, 1] - stops[:, 0], stops[:, 3] - stops[:, 2]])
        centres = np.stack([self._medians(turn) for turn in turns])[:, self.samples.pair]
        known = np.isfinite(turns - centres)
        square = np.where(known, turns - centres, 0.0) ** 2
        return np.asarray(np.sqrt(square.sum(axis=0) / np.maximum(known.sum(axis=0), 1)))
