"""Direct observations of the scene, and how far they are believed before anything is fitted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

LEAST_SD_EV = 0.002
"""No standard error is taken for less, stops."""
TURN_TAIL = 3.0
"""Degrees of freedom of the Student t of the scene's turns."""
_AROUND = 9  # frames


@dataclass(frozen=True, slots=True)
class Direct:
    """Direct observations, (n,): `value`, 0 where not `known`; `precision` 1 / sd^2; `trust` at the start, 0..1."""

    value: Floats
    known: Bools
    precision: Floats
    trust: Floats


def direct_observations(direct: Floats | None, direct_sd: Floats | None, path: Floats) -> Direct | None:
    """Return the direct observations of `splitting.split_path`, None if there are not at least two."""
    if direct is None or direct_sd is None:
        return None
    known = np.isfinite(direct) & np.isfinite(direct_sd) & (direct_sd > 0)
    if np.count_nonzero(known) < 2:
        return None
    precision = np.where(known, 1.0 / np.maximum(np.where(known, direct_sd, 1.0), LEAST_SD_EV) ** 2, 0.0)
    return Direct(np.where(known, direct, 0.0), known, precision, _trust(direct, direct_sd, path, known))


def _trust(direct: Floats, direct_sd: Floats, path: Floats, known: Bools) -> Floats:
    """Return how far each direct observation is believed at first, (n,) 0..1.

    A bad one makes the received exposure it implies (path - direct) jump for a frame, with a jump of the scene to hide it.
    """
    known = known & np.isfinite(path)
    trust = np.ones(direct.size)
    scene, received = (np.abs(_off_median(values)) for values in (direct[known], (path - direct)[known]))
    usual = 1.4826 * median_filter(received, size=2 * _AROUND + 1, mode="nearest")
    odd = received / (usual + direct_sd[known])
    trust[known] = np.where(scene > received / 2, np.minimum(1.0, (4.0 / np.maximum(odd, 1e-9)) ** 4), 1.0)
    return trust


def _off_median(values: Floats) -> Floats:
    return np.asarray(values - median_filter(values, size=5, mode="nearest"), dtype=float)


def first_turns(direct: Direct) -> Floats:
    """Return first weights of the scene's turns, (n - 2,): low where the direct observations turn more than usual."""
    seen = direct.known[:-2] & direct.known[1:-1] & direct.known[2:]
    turns = np.diff(direct.value, 2)
    noise = 6 / np.where(seen, direct.precision[1:-1], 1.0)
    usual = 1.4826 * np.median(np.abs(turns[seen])) if seen.any() else 1.0
    first: Floats = np.where(seen, np.minimum(tail_weights(turns / np.sqrt(usual**2 + noise), TURN_TAIL), 1.0), 1.0)
    return first


def tail_weights(standardised: Floats, freedom: float) -> Floats:
    """Return the weights of a Student t of `freedom` (Lange, Little & Taylor 1989)."""
    return np.asarray((freedom + 1) / (freedom + standardised**2))
