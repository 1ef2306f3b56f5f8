"""Straightens a camera's curve by what the stars tell of it.

A star's light is constant, and its height over the sky in codes goes by the curve's slope there: while the sky behind it
brightens or the exposure changes, stars tell how much too steep the curve is from code to code (see `candles`).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.candlefit import splines_at
from lapsebench.core.candles import Bend
from lapsebench.core.response import Origin, Response
from lapsebench.core.response_steps import Steps

Floats = NDArray[np.float64]

_LEAST = 0.02  # of the slope: less is not worth working the light out again
_STARS_SD = 0.03  # of a slope that stars tell, natural log: what sky, colour and noise do to their light
_ENDS_SD = 0.09  # and of the first and the last, where fewest are
_TILES_WALK = 0.03  # of the tiles' slopes, natural log, from one stop to the next
_NEAR_WHITE_EV, _NEAR_WHITE_WALK = -3.0, 0.2  # and where tiles begin to clip: those are left that dimmed by themselves
_SCALE_SD = 0.3  # of what the tiles tell a stop to be
_LEAST_CODES = 1 / 255  # that a bend has to be of: some may lie beyond white
_LOSS = 2.0  # standard errors of a step: aurora may flare just then
_ROUNDS = 8


def unbent(response: Response, bend: Bend | None) -> Response | None:
    """Return the response with the bend taken out, None where there is next to none.

    Of sRGB's it is but a hint: from one setting to the next stars tell less of the curve than tiles do.
    """
    if bend is None:
        return None
    if np.abs(bend.slope - bend.slope.mean()).max(initial=0.0) < _LEAST:
        return None
    return _unbent(response, bend)


def _unbent(response: Response, bend: Bend) -> Response:
    """Return the response whose light rises by as much less from code to code as it is too steep there."""
    ev = np.array(response.ev)
    too_steep = np.interp(np.log2(np.exp2(ev[1:]) + np.exp2(ev[:-1])) - 1, bend.at_ev, bend.slope)
    rise = np.diff(np.exp2(ev)) * np.exp(-too_steep)
    first = np.exp2(ev[0]) * np.exp(-too_steep[0])
    straight = np.log2(first + np.concatenate([[0.0], np.cumsum(rise)]))
    return replace(response, ev=tuple((straight - straight[-1]).tolist()), origin=Origin.MEASURED)


def joined(bent: tuple[Response, ...], bend: Bend, steps: Steps) -> tuple[Response, ...]:
    """Return the responses, estimated by tiles and `bent` as stars saw, of which tiles tell the shape and stars the scale.

    What tiles and marks tell of the scale is up to a fifth off, for sky changes when settings are changed. What stars tell
    of the slope here and there, some percent off, and of the `steps` at setting changes, as far as the sky then stood still,
    bear each other out: they reach neither white nor black.
    """
    return tuple(_joined(response, bend, steps) for response in bent)


def _joined(bent: Response, bend: Bend, steps: Steps) -> Response:
    """Return the response, its slopes changed smoothly so that light rises and changes as the stars tell.

    From half-way before each place of the bend to half-way after it, and from step to step, by Gauss-Newton steps.
    """
    codes, shape = np.array(bent.codes), np.array(bent.ev)
    edges = _edges(bent, bend)
    seen = np.diff(edges) > _LEAST_CODES
    rise = np.log(np.diff(np.exp2(np.interp(edges, codes, shape)))[seen]) - bend.slope[seen]
    start, end = (np.interp(level, shape, codes) for level in (steps.from_ev, steps.to_ev))
    middle = (shape[1:] + shape[:-1]) / 2
    hats = splines_at(middle, bend.at_ev)
    covariance = bend.covariance[np.ix_(seen, seen)]
    precision, prior = _precision(covariance), _prior(bend.at_ev)
    by_slope = steps.by_slope[:, seen] @ _own_share(covariance)
    by_steps, sd = np.linalg.inv(steps.covariance), np.sqrt(np.diag(steps.covariance))
    more = np.zeros(bend.at_ev.size)
    for _ in range(_ROUNDS):
        ev, by_more = _risen(shape, hats, more)
        light = np.exp2(np.interp(edges, codes, ev))
        changes = light[:, None] * np.log(2) * _at(edges, codes, by_more)
        risen = np.diff(light)[seen]
        by_rise, rise_off = np.diff(changes, axis=0)[seen] / risen[:, None], rise - np.log(risen)
        by_step = _at(end, codes, by_more) - _at(start, codes, by_more) + by_slope @ by_rise
        step_off = steps.told_ev + by_slope @ rise_off - (np.interp(end, codes, ev) - np.interp(start, codes, ev))
        sure = 1 / np.sqrt(1 + (step_off / (_LOSS * sd)) ** 2)
        rises, stepped = by_rise.T @ precision, (by_step.T * sure) @ by_steps * sure
        left = rises @ by_rise + stepped @ by_step + prior
        more = more + np.linalg.solve(left, rises @ rise_off + stepped @ step_off - prior @ more)
    ev, _ = _risen(shape, hats, more)
    return replace(bent, ev=tuple((ev - ev[-1]).tolist()))


def too_steep(bent: Response, bend: Bend, found: Response) -> Floats:
    """Return how much too steep stars saw the response against the one found, (k,): as far as noise led the bend astray."""
    edges = _edges(bent, bend)
    seen = np.diff(edges) > _LEAST_CODES
    rises = [np.diff(np.exp2(np.interp(edges, curve.codes, curve.ev)))[seen] for curve in (bent, found)]
    slope = bend.slope.copy()
    slope[seen] += _own_share(bend.covariance[np.ix_(seen, seen)]) @ (np.log(rises[0] / rises[1]) - bend.slope[seen])
    return slope


def _edges(bent: Response, bend: Bend) -> Floats:
    """Return the codes half-way between the places of a bend and beyond its ends, (k + 1,)."""
    half = (bend.at_ev[1] - bend.at_ev[0]) / 2
    return np.asarray(np.interp(np.append(bend.at_ev - half, bend.at_ev[-1] + half), bent.ev, bent.codes))


def _at(places: Floats, codes: Floats, table: Floats) -> Floats:
    """Return the columns of a table over `codes`, (codes, k), at the places, (p, k)."""
    return np.stack([np.interp(places, codes, column) for column in table.T], axis=1)


def _risen(shape: Floats, hats: Floats, more: Floats) -> tuple[Floats, Floats]:
    """Return stops that rise as those of `shape`, (k,), each step times exp(hats @ more), and what `more` adds to each."""
    steps = np.diff(shape) * np.exp(hats @ more)
    none = np.zeros((1, more.size))
    return np.concatenate([[0.0], np.cumsum(steps)]), np.concatenate([none, np.cumsum(steps[:, None] * hats, axis=0)])


def _precision(covariance: Floats) -> Floats:
    """Return the precision of the slopes that stars tell with so much noise, (k, k), whatever is common to them left out."""
    each = np.linalg.inv(covariance + _besides(covariance))
    return np.asarray(each - np.outer(each.sum(axis=1), each.sum(axis=0)) / each.sum())


def _own_share(covariance: Floats) -> Floats:
    """Return the part, (k, k), of what a bend is off by that is noise, and so in the stars' exposures too."""
    return np.asarray(np.linalg.solve(covariance + _besides(covariance), covariance).T)


def _besides(covariance: Floats) -> Floats:
    """Return the covariance, (k, k), of what the bend of a star is besides the curve's."""
    more = np.full(covariance.shape[0], _STARS_SD**2)
    more[[0, -1]] = _ENDS_SD**2
    return np.diag(more)


def _prior(at_ev: Floats) -> Floats:
    """Return the precision of how far the slopes that tiles tell are off at light `at_ev` (k,): smooth, and a scale."""
    count, turns = at_ev.size, np.diff(np.eye(at_ev.size), axis=0)
    near_white = (at_ev[1:] + at_ev[:-1]) / 2 > _NEAR_WHITE_EV
    walk = np.where(near_white, _NEAR_WHITE_WALK, _TILES_WALK) ** 2 * np.diff(at_ev)
    return np.asarray(turns.T @ np.diag(1 / walk) @ turns + np.full((count, count), (count * _SCALE_SD) ** -2))
