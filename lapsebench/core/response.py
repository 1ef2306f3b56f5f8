"""The camera's response: what light made a code, estimated from frames either side of setting changes.

In-camera pictures do not follow sRGB exactly. Two frames at a known exposure ratio are the same scene at two codes each:
h(code2) - h(code1) = ratio in stops. Solving for h over all such pairs with a smoothness prior is the method of
Debevec & Malik (SIGGRAPH 1997), here as a smooth deviation from sRGB, with one free offset a pair for the shutter's own
error and with a Cauchy loss, because the sky moves.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array, diags_array

from lapsebench.core.transfer import linear_to_srgb, srgb_to_linear

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Sparse: TypeAlias = "csr_array[np.float64, tuple[int, int]]"

_KNOTS = 48
_FIRST_CODE = 1.5 / 255
_CODE_ERROR = 0.5 / 255  # rounding and coding, as a standard error of a tile's code
_STEADY_EV = 0.02
_LOSS_EV = 0.06
_SMOOTH = 0.03
_OFFSET_PRIOR = 200.0  # tiles that the marks of a pair count for
_FOOT = 10 / 255
_LEAST_CHANGE_EV = 0.2
_MOST_PAIRS = 120
_TILES_A_PAIR = 300
_WORTH_IT = 0.8
_STEPS = 65535


@dataclass(frozen=True, slots=True)
class Response:
    """Stops of light `ev` at sRGB-scaled codes `codes` (0..1, rising), both (k,), piecewise linear; 0 at white.

    `estimated`: from the pictures; else sRGB is taken. `misfit_ev`: mean disagreement of tiles across setting changes.
    `black_code`: the code under which hardly any tile goes.
    """

    codes: Floats
    ev: Floats
    estimated: bool
    misfit_ev: float | None = None
    black_code: float = 0.0

    def seen(self, light: NDArray[Any]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Return stops of light, and a weight, for sRGB-decoded linear values (any shape), both of that shape.

        The weight 0..1 tells how little a code error moves the stops: near 0 in the dark and on flat parts of the curve.
        """
        place = np.sqrt(np.clip(light, 0.0, 1.0).astype(np.float32))
        place *= _STEPS
        place += 0.5
        index = place.astype(np.int32)
        ev, weight = self._tables()
        return ev[index], weight[index]

    def _tables(self) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Return stops and weights over `_STEPS` equal steps of the root of light: within 0.001 stop down to code 5."""
        codes = linear_to_srgb((np.arange(_STEPS + 1) / _STEPS) ** 2)
        slope = np.interp(codes, self.codes, np.gradient(self.ev, self.codes))
        above_black = np.clip((codes - self.black_code) / _FOOT, 0.0, 1.0)
        weight = above_black**2 / (1.0 + (slope * _CODE_ERROR / _STEADY_EV) ** 2)
        weight[codes <= self.codes[0]] = 0.0
        return np.interp(codes, self.codes, self.ev).astype(np.float32), weight.astype(np.float32)


def srgb_response() -> Response:
    """Return the response of a picture that follows sRGB."""
    codes = _knots()
    return Response(codes, np.log2(srgb_to_linear(codes)), estimated=False)


def estimate_response(light: NDArray[np.float32], usable: NDArray[np.float32], exposure_ev: Floats) -> Response:
    """Return the camera's response, or sRGB where it explains the pairs nearly as well or there are too few.

    `light`: (n, k) one channel of the tiles, decoded as sRGB; below 0 (a colour beyond BT.709) is black. `usable`: (n, k),
    0..1, 0 where clipped or spoilt. `exposure_ev`: (n,) stops at true marks, NaN where unknown.
    """
    black = _black_code(light, usable)
    plain = replace(srgb_response(), black_code=black)
    first, second = _pairs_across_changes(usable, exposure_ev)
    if np.unique(np.round(exposure_ev[first] - exposure_ev[second], 2)).size == 0 or first.size < 3:
        return plain
    rows = _samples(light, usable, first, second, black)
    if rows.pair.size < 20 * first.size:
        return plain
    jump = exposure_ev[second] - exposure_ev[first]
    fitted, misfit, plain_misfit = _fit(rows, jump, plain)
    if misfit > _WORTH_IT * plain_misfit:
        return replace(plain, misfit_ev=plain_misfit)
    return replace(plain, ev=fitted, estimated=True, misfit_ev=misfit)


@dataclass(frozen=True, slots=True)
class _Samples:
    """Tiles seen at two codes `low`, `high` (0..1), with the number of their pair and a weight, all (m,)."""

    pair: Ints
    low: Floats
    high: Floats
    weight: Floats


def _knots() -> Floats:
    return _FIRST_CODE + (1 - _FIRST_CODE) * np.linspace(0.0, 1.0, _KNOTS) ** 1.6


def _pairs_across_changes(usable: NDArray[np.float32], exposure_ev: Floats) -> tuple[Ints, Ints]:
    """Return close pairs of usable frames whose marks differ, the nearest first, at most `_MOST_PAIRS`."""
    frames = np.flatnonzero(usable.any(axis=1) & np.isfinite(exposure_ev))
    found: list[tuple[int, int]] = []
    for lag in (1, 2, 3):
        first, second = frames[:-lag], frames[lag:]
        differ = np.abs(exposure_ev[second] - exposure_ev[first]) > _LEAST_CHANGE_EV
        found += list(zip(first[differ].tolist(), second[differ].tolist(), strict=True))
    pairs = np.array(found[:_MOST_PAIRS], dtype=np.intp).reshape(-1, 2)
    return pairs[:, 0], pairs[:, 1]


def _samples(light: NDArray[np.float32], usable: NDArray[np.float32], first: Ints, second: Ints, black: float) -> _Samples:
    """Return up to `_TILES_A_PAIR` tiles of each pair, spread evenly over their codes."""
    parts = []
    for number, (a, b) in enumerate(zip(first, second, strict=True)):
        weight = np.sqrt(usable[a] * usable[b])
        codes = linear_to_srgb(np.maximum(light[[a, b]], 0.0))
        weight = weight * np.clip((codes.min(axis=0) - black) / _FOOT, 0.0, 1.0)
        good = np.flatnonzero(weight > 0.05)
        good = good[np.argsort(codes[:, good].sum(axis=0))]
        if good.size > _TILES_A_PAIR:
            good = _spread(codes[:, good].sum(axis=0), good)
        parts.append((np.full(good.size, number), codes[0, good], codes[1, good], weight[good]))
    pair, low, high, weight = (np.concatenate(column) for column in zip(*parts, strict=True))
    return _Samples(pair.astype(np.intp), low, high, weight.astype(float))


def _black_code(light: NDArray[np.float32], usable: NDArray[np.float32]) -> float:
    """Return the code (0..1) under which hardly any tile goes: black as this camera records it."""
    seen = light[usable > 0.3]
    return float(linear_to_srgb(np.maximum(np.quantile(seen, 0.01), 0.0))) if seen.size else 0.0


def _spread(codes: Floats, tiles: Ints) -> Ints:
    """Return tiles (sorted by `codes`) thinned where codes crowd."""
    wanted = np.linspace(codes[0], codes[-1], _TILES_A_PAIR // 2)
    by_code = np.searchsorted(codes, wanted).clip(max=tiles.size - 1)
    by_rank = np.linspace(0, tiles.size - 1, _TILES_A_PAIR // 2).astype(np.intp)
    thinned: Ints = tiles[np.unique(np.concatenate([by_code, by_rank]))]
    return thinned


def _fit(rows: _Samples, jump: Floats, plain: Response, rounds: int = 20) -> tuple[Floats, float, float]:
    """Return the fitted stops at the knots, and the robust misfit with and without the fit."""
    design = _design(rows, plain.codes, jump.size)
    knots = plain.codes.size
    target = jump[rows.pair] - (_at(plain, rows.high) - _at(plain, rows.low))
    quiet = rows.weight * np.minimum(_steadiness(plain, rows.low), _steadiness(plain, rows.high))
    prior = _prior(knots, jump.size)
    solved: Floats = np.zeros(knots + jump.size)
    plain_misfit = _misfit(target - _offsets(rows.pair, target, jump.size), quiet)
    for _ in range(rounds):
        residual = target - design @ solved
        weight = quiet / (1 + (residual / _LOSS_EV) ** 2)
        normal: Floats = (design.T @ (diags_array(weight) @ design)).toarray() + prior
        right: Floats = np.asarray(design.T @ (weight * target))
        solved = np.asarray(np.linalg.solve(normal, right), dtype=np.float64)
    ev = np.maximum.accumulate(plain.ev + solved[:knots] + 1e-6 * np.arange(knots))
    return ev - ev[-1], _misfit(target - design @ solved, quiet), plain_misfit


def _at(response: Response, codes: Floats) -> Floats:
    return np.interp(codes, response.codes, response.ev)


def _steadiness(response: Response, codes: Floats) -> Floats:
    slope = np.interp(codes, response.codes, np.gradient(response.ev, response.codes))
    return 1.0 / (1.0 + (slope * _CODE_ERROR / (2 * _STEADY_EV)) ** 2)


def _design(rows: _Samples, codes: Floats, pairs: int) -> Sparse:
    """Return the matrix that takes knot deviations and pair offsets to each tile's step, (m, knots + pairs)."""
    count = np.arange(rows.pair.size)
    entries = [(count, rows.pair + codes.size, np.ones(count.size))]
    for place, sign in ((rows.high, 1.0), (rows.low, -1.0)):
        left = np.clip(np.searchsorted(codes, place, side="right") - 1, 0, codes.size - 2)
        part = (place - codes[left]) / (codes[left + 1] - codes[left])
        entries += [(count, left, sign * (1 - part)), (count, left + 1, sign * part)]
    row, col, value = (np.concatenate(column) for column in zip(*entries, strict=True))
    return csr_array((value, (row, col)), shape=(count.size, codes.size + pairs))


def _prior(knots: int, pairs: int) -> Floats:
    """Return the precision that keeps the deviation smooth, 0 at mid-code, and the pair offsets small."""
    bend = np.diff(np.eye(knots), n=2, axis=0)
    matrix = np.zeros((knots + pairs, knots + pairs))
    matrix[:knots, :knots] = _SMOOTH * (bend.T @ bend) + 1e-4 * np.eye(knots)
    matrix[knots // 2, knots // 2] += 1e6
    matrix[range(knots, knots + pairs), range(knots, knots + pairs)] += _OFFSET_PRIOR
    return matrix


def _offsets(pair: Ints, target: Floats, pairs: int) -> Floats:
    """Return each tile's pair median of `target`."""
    medians = np.array([np.median(target[pair == k]) if (pair == k).any() else 0.0 for k in range(pairs)])
    shrunk: Floats = medians[pair]
    return shrunk


def _misfit(residual: Floats, weight: Floats) -> float:
    """Return a robust root-mean-square of `residual`, stops."""
    loss = (residual / _LOSS_EV) ** 2
    mean = (weight * loss / (1 + loss / 9)).sum() / max(weight.sum(), 1e-9)
    return float(_LOSS_EV * np.sqrt(mean))
