"""The penalised split of one path into a smooth scene, one bias per setting, and flicker."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import block_array, csc_array, diags_array
from scipy.sparse.linalg import splu

Floats = NDArray[np.float64]

BIAS_SD_EV = 0.06
"""Prior sd of a setting's bias, stops: shutters and irises miss their marks by about this much (common practice)."""
_TAIL = 4.0  # degrees of freedom of the Student t of flicker
_TURN_TAIL = 3.0  # and of the scene's turns
_STIFFNESS = np.logspace(-0.5, 6, 14)
_LEAST_SD_EV = 0.002
_GAP_PENALTY = 1e-3


@dataclass(frozen=True, slots=True)
class Split:
    """Per frame, shape (n,), stops: `scene` (smooth), `bias` of its setting, `flicker` (NaN where the path is unknown)."""

    scene: Floats
    bias: Floats
    flicker: Floats


def split_path(path: Floats, groups: NDArray[np.intp], after_gap: NDArray[np.bool_], *, rounds: int = 12) -> Split:
    """Return the split of `path` (n,) stops, NaN unknown.

    `groups`: (n,) number of the setting of each frame. `after_gap`: (n,) the scene may turn freely there.
    """
    known = np.isfinite(path)
    n = path.size
    if np.count_nonzero(known) < 4:
        level = float(np.mean(path[known])) if known.any() else 0.0
        return Split(np.full(n, level), np.zeros(n), np.where(known, 0.0, np.nan))
    model = _Model(path, known, groups, after_gap)
    for _ in range(rounds):
        model.fit_stiffness()
        if not model.reweigh():
            break
    bias = model.bias[groups]
    flicker = np.where(known, path - model.scene - bias, np.nan)
    return Split(model.scene, bias, flicker)


class _Model:
    """Working state of the fit: weights, stiffness, scene and bias."""

    def __init__(
        self, path: Floats, known: NDArray[np.bool_], groups: NDArray[np.intp], after_gap: NDArray[np.bool_]
    ) -> None:
        n = path.size
        self.path = np.where(known, path, 0.0)
        self.known = known
        self.count = int(groups.max()) + 1
        self.member = csc_array((np.ones(n), (np.arange(n), groups)), shape=(n, self.count))
        self.bend = diags_array(np.tile([[1.0], [-2.0], [1.0]], n), offsets=[0, 1, 2], shape=(n - 2, n))
        gap = after_gap[1:-1] | after_gap[2:]
        self.free = np.where(gap, _GAP_PENALTY, 1.0)
        self.weight = known.astype(float)
        self.turn = self.free.copy()
        self.sd = 0.03
        self.scene = np.zeros(n)
        self.bias = np.zeros(self.count)
        self.stiffness = 100.0

    def fit_stiffness(self) -> None:
        """Fit at the stiffness of the highest restricted likelihood."""
        fits = [(self._fit(stiffness), stiffness) for stiffness in _STIFFNESS]
        (_, self.scene, self.bias), self.stiffness = min(fits, key=lambda fit: fit[0][0])

    def _fit(self, stiffness: float) -> tuple[float, Floats, Floats]:
        """Return -2 log restricted likelihood (up to a constant), scene and bias at `stiffness` = (sd / turn sd)^2."""
        ridge = (self.sd / BIAS_SD_EV) ** 2
        weights = diags_array(self.weight)
        penalty = self.bend.T @ diags_array(stiffness * self.turn) @ self.bend
        cross = weights @ self.member
        corner = self.member.T @ cross + diags_array(np.full(self.count, ridge))
        tiny = diags_array(np.full(self.path.size, 1e-9))
        system = csc_array(block_array([[weights + penalty + tiny, cross], [cross.T, corner]]))
        right = self.weight * self.path
        factor = splu(system, permc_spec="COLAMD", diag_pivot_thresh=0.1)
        solved = factor.solve(np.concatenate([right, self.member.T @ right]))
        scene, bias = solved[: self.path.size], solved[self.path.size :]
        misfit = float(right @ (self.path - scene - self.member @ bias))
        logdet = float(np.log(np.abs(factor.U.diagonal())).sum())
        freedom = max(int(self.known.sum()) - 2, 1)
        free_turns = self.path.size - 2
        score = freedom * np.log(max(misfit / freedom, _LEAST_SD_EV**2)) + logdet - free_turns * np.log(stiffness)
        return float(score), scene, bias

    def reweigh(self) -> bool:
        """Set the weights of the heavy tails from the residuals; return whether they still move."""
        off = np.where(self.known, self.path - self.scene - self.member @ self.bias, 0.0)
        before = self.weight
        self.sd = max(float(np.sqrt((before * off**2).sum() / max(self.known.sum() - 2, 1))), _LEAST_SD_EV)
        self.weight = self.known * (_TAIL + 1) / (_TAIL + (off / self.sd) ** 2)
        turns = self.bend @ self.scene
        turn_sd = max(self.sd / np.sqrt(self.stiffness), 1e-6)
        self.turn = self.free * (_TURN_TAIL + 1) / (_TURN_TAIL + (turns / turn_sd) ** 2)
        return bool(np.abs(self.weight - before).max() > 0.01)
