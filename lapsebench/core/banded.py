"""Banded systems of smooth curves: second differences of n values, alone or interleaved with a second curve, in O(n)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_solve_banded, cholesky_banded

Floats = NDArray[np.float64]

TURN = (1.0, -2.0, 1.0)
"""Second difference."""
WALK = (-1.0, 1.0)
"""First difference."""


def add_differences(bands: Floats, weights: Floats, kind: tuple[float, ...], *, stride: int = 1, start: int = 0) -> None:
    """Add D' diag(weights) D to `bands`, in place.

    `bands`: (reach + 1, m), lower banded form as in `scipy.linalg.cholesky_banded`. D takes the differences `kind` of the
    values at start, start + stride, start + 2 stride ...; `weights`: one a difference.
    """
    for high, upper in enumerate(kind):
        for low, lower in enumerate(kind[: high + 1]):
            first = start + low * stride
            columns = slice(first, first + (weights.size - 1) * stride + 1, stride)
            bands[(high - low) * stride, columns] += upper * lower * weights


class Factor:
    """Cholesky factor L of a positive definite banded matrix A = L L'; raises `numpy.linalg.LinAlgError` if it is not."""

    def __init__(self, bands: Floats) -> None:
        self._lower: Floats = cholesky_banded(bands, lower=True, overwrite_ab=True, check_finite=False)

    def solve(self, right: Floats) -> Floats:
        """Return A^-1 right, for `right` of (m,) or (m, columns)."""
        solved: Floats = cho_solve_banded((self._lower, True), right, check_finite=False)
        return solved

    @property
    def logdet(self) -> float:
        """Natural logarithm of the determinant of A."""
        return float(2 * np.log(self._lower[0]).sum())

    def inverse_bands(self) -> Floats:
        """Return the bands of A^-1, lower form, (reach + 1, m), by the recursion of Takahashi, Fagan & Chin (1973)."""
        reach, m = self._lower.shape[0] - 1, self._lower.shape[1]
        pivots = self._lower[0]
        ratios = (self._lower[1:] / pivots).T.tolist()
        squares = (1.0 / pivots**2).tolist()
        offsets = range(1, reach + 1)
        empty = [0.0] * (reach + 1)
        columns = [empty] * (m + reach)
        for j in range(m - 1, -1, -1):
            ratio = ratios[j]
            column = [0.0] * (reach + 1)
            for i in offsets:
                total = 0.0
                for k in offsets:
                    near, far = (i, k) if i < k else (k, i)
                    total -= ratio[k - 1] * columns[j + near][far - near]
                column[i] = total
            column[0] = squares[j] - sum(ratio[k - 1] * column[k] for k in offsets)
            columns[j] = column
        return np.array(columns[:m]).T
