"""The penalised split of one path into a smooth scene, one bias per setting, and flicker.

Where something else than the path tells the scene (the stars do), it is a second kind of observation of the same scene, up
to a level that may drift slowly: thin cloud and the air dim stars.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d
from scipy.sparse import csr_array

from lapsebench.core.banded import TURN, WALK, Factor, add_differences
from lapsebench.core.direct import LEAST_SD_EV, TURN_TAIL, Direct, direct_observations, first_turns, tail_weights

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.intp]

BIAS_SD_EV = 0.06
"""Prior sd of a setting's bias, stops: shutters and irises miss their marks by about this much (common practice)."""
_TAIL = 4.0  # degrees of freedom of the Student t of flicker
_DIRECT_TAIL = 10.0  # and of the direct observations, whose errors are told
_STIFFNESS = np.logspace(-3, 6, 19)
_SCALES = 0.002 * 2.0 ** (np.arange(15) / 2)  # stops, sds of flicker
_GAP_PENALTY = 1e-3
_DRIFT_EV = 0.002  # stops a frame: what air and thin cloud change the level of the direct observations by
_CLOUDY = 0.15  # of a direct observation's error: what makes stars disagree, cloud, dims them too
_TINY = 1e-9
_AROUND = 9  # frames


@dataclass(frozen=True, slots=True)
class Split:
    """Per frame, shape (n,), stops: `scene` (smooth), `bias` of its setting, `flicker` (NaN where the path is unknown).

    `error_ev`: standard error of bias + flicker against the neighbouring frames; see `split_path`. `flicker_sd`, `turn_sd`:
    the scales found of flicker and of the scene's turns, stops.
    """

    scene: Floats
    bias: Floats
    flicker: Floats
    error_ev: Floats
    flicker_sd: float
    turn_sd: float


def split_path(
    path: Floats,
    groups: Ints,
    after_gap: Bools,
    *,
    direct: Floats | None = None,
    direct_sd: Floats | None = None,
    direct_step_sd: Floats | None = None,
    path_sd: Floats | None = None,
    rounds: int = 12,
) -> Split:
    """Return the split of `path` (n,) stops, NaN unknown.

    `groups`: (n,) number of the setting of each frame. `after_gap`: (n,) the scene may turn freely there. `direct`: (n,) the
    scene observed directly, stops up to a constant that may drift slowly, NaN unknown, and `direct_sd` its standard error;
    single wrong ones do no harm. `direct_step_sd`: (n,) stops, sd of a jump of that level to each frame.
    `path_sd`: (n,) standard error of the path against its neighbours.

    `error_ev` is the posterior standard error of a frame's bias + flicker against the frames beside it: the root of half the
    mean variance of the two differences, so that white errors of sd e give e. NaN where the path is unknown.
    """
    known = np.isfinite(path)
    n = path.size
    if np.count_nonzero(known) < 4:
        level = float(np.mean(path[known])) if known.any() else 0.0
        unknown = np.where(known, BIAS_SD_EV, np.nan)
        return Split(np.full(n, level), np.zeros(n), np.where(known, 0.0, np.nan), unknown, 0.0, 0.0)
    model = _Model(path, groups, after_gap, direct_observations(direct, direct_sd, path), direct_step_sd)
    for _ in range(rounds):
        model.fit_scales()
        if not model.reweigh():
            break
    bias = model.bias[groups]
    flicker = np.where(known, path - model.scene - bias, np.nan)
    fitted = model.error()
    own = np.zeros(n) if path_sd is None else np.nan_to_num(path_sd)
    if model.direct is not None:  # path - direct is what the stars tell: the path's own error is in both and falls out
        own = own * np.sqrt(1 - model.best.followed(model))
    error = np.where(known, np.hypot(fitted, own), np.nan)
    return Split(model.scene, bias, flicker, error, model.best.sd, model.best.turn_sd)


class _Model:
    """Working state of the fit: weights, stiffness, scene, bias and the level of the direct observations."""

    def __init__(
        self, path: Floats, groups: Ints, after_gap: Bools, direct: Direct | None, step_sd: Floats | None = None
    ) -> None:
        n = path.size
        self.known = np.isfinite(path)
        self.path = np.where(self.known, path, 0.0)
        self.direct = direct
        self.count = int(groups.max()) + 1
        self.groups = groups
        self.stairs: Floats = np.eye(self.count)[groups]
        self._member = csr_array((np.ones(n), (groups, np.arange(n))), shape=(self.count, n))
        gap = np.where(after_gap, _GAP_PENALTY, 1.0)
        self.free = np.minimum(gap[1:-1], gap[2:])
        self.loose = gap[1:]
        self.drift = np.full(n - 1, _DRIFT_EV)
        self.weight = self.known.astype(float)
        self.turn = self.free.copy()
        self.sd = 0.03
        self.scene, self.bias, self.level = np.zeros(n), np.zeros(self.count), np.zeros(n)
        self.sure, self.walk = np.zeros(n), self.loose.copy()
        if direct is not None:
            self.sure = direct.trust * direct.known
            sd = np.where(direct.known, 1 / np.sqrt(np.maximum(direct.precision, _TINY)), np.inf)
            seen = np.where(np.isfinite(sd), sd, np.nanmax(np.where(np.isfinite(sd), sd, np.nan)))
            self.drift = np.maximum(_DRIFT_EV, _CLOUDY * np.maximum(seen[1:], seen[:-1]))
            if step_sd is not None:
                self.drift = np.hypot(self.drift, step_sd[1:])
            self.turn = self.free * first_turns(direct)
        self.place: tuple[int, int] | None = None

    def by_group(self, values: Floats) -> Floats:
        """Return the sums of `values`, (n,) or (n, columns), over the frames of each group."""
        return np.asarray(self._member @ values, dtype=float)

    def fit_scales(self) -> None:
        """Fit at the scales of the highest restricted likelihood: of many at first, then uphill from the last ones.

        Without direct observations the flicker's own scale follows from the residuals and is not searched for.
        """
        tried: dict[tuple[int, int], _Fit] = {}
        scales = range(1) if self.direct is None else range(_SCALES.size)

        def score(place: tuple[int, int]) -> float:
            if place not in tried:
                stiffness, scale = place
                tried[place] = _Fit(
                    self, float(_STIFFNESS[stiffness]), self.sd if self.direct is None else float(_SCALES[scale])
                )
            return tried[place].score

        if self.place is None:
            best = min(((k, j) for k in range(0, _STIFFNESS.size, 2) for j in scales[::2]), key=score)
        else:
            best = self.place
        last = None
        while best != last:
            last = best
            near = ((best[0] + k, best[1] + j) for k in (-1, 0, 1) for j in (-1, 0, 1))
            best = min((at for at in near if 0 <= at[0] < _STIFFNESS.size and at[1] in scales), key=score)
        self.place, self.best = best, tried[best]
        self.scene, self.bias, self.level = self.best.scene, self.best.bias, self.best.level

    def reweigh(self) -> bool:
        """Set the weights of the heavy tails from the residuals; return whether they still move."""
        off = np.where(self.known, self.path - self.scene - self.bias[self.groups], 0.0)
        before = np.concatenate([self.weight, self.sure])
        self.sd = self.best.sd
        if self.direct is None:
            sd = np.sqrt((self.weight * off**2).sum() / max(int(self.known.sum()) - 2, 1))
            self.sd = max(float(sd), LEAST_SD_EV)
        self.weight = self.known * tail_weights(off / self.sd, _TAIL)
        turn_sd = max(self.sd / np.sqrt(self.best.stiffness), 1e-6)
        self.turn = self.free * tail_weights(np.diff(self.scene, 2) / turn_sd, TURN_TAIL)
        if self.direct is not None:
            missed = (self.direct.value - self.scene - self.level) * np.sqrt(self.direct.precision)
            self.sure = self.direct.known * tail_weights(missed, _DIRECT_TAIL)
            self.walk = self.loose * tail_weights(np.diff(self.level) / self.drift, TURN_TAIL)
        return bool(np.abs(np.concatenate([self.weight, self.sure]) - before).max() > 0.01)

    def error(self) -> Floats:
        """Return the posterior standard error of the scene against its neighbours, (n,) stops.

        Enlarged where flicker is larger all around than the scale of the whole shot tells; not at direct observations.
        """
        change = self.best.change_variance() * self.best.sd**2
        ends = np.concatenate([change[:1], change, change[-1:]])
        off = np.where(self.known, self.path - self.scene - self.bias[self.groups], 0.0) / self.best.sd
        usual = _TAIL / (_TAIL - 2)  # variance of the Student t
        rough = np.maximum(uniform_filter1d(off**2, _AROUND, mode="nearest") / usual, 1.0)
        if self.direct is not None:
            rough[self.direct.known] = 1.0
        return np.asarray(np.sqrt(rough * (ends[:-1] + ends[1:]) / 4))


class _Fit:
    """Scene, bias and level at one stiffness = (sd / turn sd)^2, and the score of it.

    The scene, interleaved with the level where there are direct observations, is a banded system A; the biases M b come in
    by Woodbury's identity. A^-1 W M = M - A^-1 P M, with P the penalties, keeps digits where a bias is nearly a constant.
    """

    def __init__(self, model: _Model, stiffness: float, sd: float) -> None:
        self.stiffness, self.sd, self.turn_sd = stiffness, sd, sd / float(np.sqrt(stiffness))
        self._stride = 1 if model.direct is None else 2
        n, stride = model.path.size, self._stride
        ridge = (sd / BIAS_SD_EV) ** 2
        turn = stiffness * model.turn
        bands, right = np.zeros((2 * stride + 1, n * stride)), np.zeros(n * stride)
        bands[0] = _TINY
        bands[0, ::stride] += model.weight
        add_differences(bands, turn, TURN, stride=stride)
        right[::stride] = model.weight * model.path
        pull = np.zeros((n * stride, model.count))
        pull[::stride] = _penalised(turn, np.diff(model.stairs, 2, axis=0), TURN)
        if model.direct is not None:
            seen = sd**2 * model.direct.precision * model.sure
            walk = (sd / model.drift) ** 2 * model.walk
            bands[0] += np.repeat(seen, 2)
            bands[1, ::2] += seen
            add_differences(bands, walk, WALK, stride=2, start=1)
            right += np.repeat(seen * model.direct.value, 2)
            pull[1::2] = -_penalised(walk, np.diff(model.stairs, axis=0), WALK)
        self._factor = Factor(bands)
        solved = self._factor.solve(np.column_stack([right, pull]))
        self._apart = model.stairs - solved[::stride, 1:]
        corner = model.by_group(model.weight[:, None] * solved[::stride, 1:])
        self._corner = (corner + corner.T) / 2 + ridge * np.eye(model.count)
        base = solved[:, 0]
        unfit = model.by_group(model.weight * (model.path - base[::stride]))
        self.bias: Floats = np.asarray(np.linalg.solve(self._corner, unfit), dtype=float)
        self.scene: Floats = base[::stride] - self._apart @ self.bias
        misfit = float((model.weight * model.path) @ (model.path - self.scene - self.bias[model.groups]))
        self.level = np.zeros(n)
        if model.direct is not None:
            self.level = base[1::2] + (model.stairs + solved[1::2, 1:]) @ self.bias
            misfit += float((seen * model.direct.value) @ (model.direct.value - self.scene - self.level))
        self.logdet = self._factor.logdet + float(np.linalg.slogdet(self._corner)[1])
        shape = self.logdet - (n - 2) * np.log(stiffness)
        if model.direct is None:
            freedom = max(int(model.known.sum()) - 2, 1)
            self.score: float = shape + freedom * np.log(max(misfit / freedom, LEAST_SD_EV**2))
        else:
            self.score = shape + misfit / sd**2 + (int(model.known.sum()) - n - model.count - 2) * np.log(sd**2)

    @cached_property
    def _inverse(self) -> Floats:
        return self._factor.inverse_bands()

    def followed(self, model: _Model) -> Floats:
        """Return how far the scene follows what both of its observations say of a frame, (n,) 0..1 (leverage)."""
        told = model.weight.copy()
        if model.direct is not None:
            told += self.sd**2 * model.direct.precision * model.sure
        return np.asarray(np.minimum(self._inverse[0, :: self._stride] * told, 1.0))

    def change_variance(self) -> Floats:
        """Return the posterior variance of the scene's change from each frame to the next, (n - 1,), in units of sd^2."""
        inverse, stride = self._inverse, self._stride
        own = inverse[0, ::stride]
        given_bias = own[:-1] + own[1:] - 2 * inverse[stride, :-stride:stride]
        apart = np.diff(self._apart, axis=0)
        of_bias = (apart * np.linalg.solve(self._corner, apart.T).T).sum(axis=1)
        return np.asarray(given_bias + of_bias, dtype=float)


def _penalised(weights: Floats, differences: Floats, kind: tuple[float, ...]) -> Floats:
    """Return D' diag(weights) differences, with D as in `add_differences`; (rows + len(kind) - 1, columns)."""
    weighted = weights[:, None] * differences
    pull = np.zeros((weights.size + len(kind) - 1, differences.shape[1]))
    for k, factor in enumerate(kind):
        pull[k : k + weights.size] += factor * weighted
    return pull
