"""The response where nothing but the exposure changed: Debevec & Malik (SIGGRAPH 1997) in differences.

On a still scene taken at exact marks, a bracket, each pair's jump is known, so that the curve may follow the tiles closely:
knots dense in the dark, hardly smoothed, and the marks believed.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from scipy.sparse import csr_array, diags_array

from lapsebench.core.response import knots
from lapsebench.core.response_samples import Floats, Samples, srgb_stops

Sparse: TypeAlias = "csr_array[np.float64, tuple[int, int]]"

_KNOTS = 48
_LOSS_EV = 0.06
_SMOOTH = 0.03
_MARKS_WORTH = 200.0  # tiles that the marks of a pair count for
_CODE_ERROR = 0.25 / 255
_STEADY_EV = 0.02
_ROUNDS = 20


def still_curve(samples: Samples) -> Floats:
    """Return stops of light at `response.knots()`, 0 at white, that best take the samples of one channel to the marks."""
    fine = knots()
    codes = np.interp(np.linspace(0, 1, _KNOTS), np.linspace(0, 1, fine.size), fine)
    plain = srgb_stops(codes)
    low, high, pairs = samples.codes[:, 1], samples.codes[:, 2], samples.jump_ev.size
    design = _design(samples, codes)
    step = np.interp(high, codes, plain) - np.interp(low, codes, plain)
    target = samples.jump_ev[samples.pair] - step
    quiet = samples.weight * np.minimum(_steadiness(codes, plain, low), _steadiness(codes, plain, high))
    prior = _prior(pairs)
    solved: Floats = np.zeros(_KNOTS + pairs)
    for _ in range(_ROUNDS):
        weight = quiet / (1 + ((target - design @ solved) / _LOSS_EV) ** 2)
        normal: Floats = (design.T @ (diags_array(weight) @ design)).toarray() + prior
        solved = np.asarray(np.linalg.solve(normal, np.asarray(design.T @ (weight * target))), dtype=float)
    ev = np.maximum.accumulate(plain + solved[:_KNOTS] + 1e-6 * np.arange(_KNOTS))
    whole = np.interp(fine, codes, ev - srgb_stops(codes)) + srgb_stops(fine)
    return np.asarray(whole - whole[-1])


def _steadiness(codes: Floats, ev: Floats, at: Floats) -> Floats:
    slope = np.interp(at, codes, np.gradient(ev, codes))
    return np.asarray(1.0 / (1.0 + (slope * _CODE_ERROR / _STEADY_EV) ** 2))


def _design(samples: Samples, codes: Floats) -> Sparse:
    """Return the matrix (m, knots + pairs) that takes deviations at the knots and the pairs' offsets to steps."""
    count = np.arange(samples.pair.size)
    entries = [(count, samples.pair + _KNOTS, np.ones(count.size))]
    for place, sign in ((samples.codes[:, 2], 1.0), (samples.codes[:, 1], -1.0)):
        left = np.clip(np.searchsorted(codes, place, side="right") - 1, 0, _KNOTS - 2)
        part = (place - codes[left]) / (codes[left + 1] - codes[left])
        entries += [(count, left, sign * (1 - part)), (count, left + 1, sign * part)]
    row, col, value = (np.concatenate(column) for column in zip(*entries, strict=True))
    return csr_array((value, (row, col)), shape=(count.size, _KNOTS + samples.jump_ev.size))


def _prior(pairs: int) -> Floats:
    """Return the precision that keeps the deviation smooth, 0 at mid-code, and the offsets from the marks small."""
    bend = np.diff(np.eye(_KNOTS), n=2, axis=0)
    matrix = np.zeros((_KNOTS + pairs, _KNOTS + pairs))
    matrix[:_KNOTS, :_KNOTS] = _SMOOTH * (bend.T @ bend) + 1e-4 * np.eye(_KNOTS)
    matrix[_KNOTS // 2, _KNOTS // 2] += 1e6
    offsets = range(_KNOTS, _KNOTS + pairs)
    matrix[offsets, offsets] += _MARKS_WORTH
    return matrix
