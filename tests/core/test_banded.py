"""Banded systems agree with dense algebra on random input."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from lapsebench.core.banded import TURN, WALK, Factor, add_differences

Floats = NDArray[np.float64]


def dense_and_banded(n: int, seed: int) -> tuple[Floats, Floats]:
    """Return one random system of two interleaved curves of `n` values, dense and as bands."""
    random = np.random.default_rng(seed)
    bands = np.zeros((5, 2 * n))
    bands[0] = random.uniform(0.1, 1, 2 * n)
    dense = np.diag(bands[0])
    for weights, kind, order, start in (
        (random.uniform(0, 9, n - 2), TURN, 2, 0),
        (random.uniform(0, 9, n - 1), WALK, 1, 1),
    ):
        add_differences(bands, weights, kind, stride=2, start=start)
        difference = np.diff(np.eye(n), order, axis=0)
        dense[start::2, start::2] += difference.T @ np.diag(weights) @ difference
    return dense, bands


@settings(deadline=None, max_examples=30)
@given(st.integers(3, 40), st.integers(0, 2**31))
def test_solution_determinant_and_inverse_are_those_of_the_dense_matrix(n: int, seed: int) -> None:
    dense, bands = dense_and_banded(n, seed)
    factor = Factor(bands)
    right = np.random.default_rng(seed).normal(size=(2 * n, 3))
    np.testing.assert_allclose(factor.solve(right), np.linalg.solve(dense, right), rtol=1e-7, atol=1e-9)
    assert factor.logdet == pytest.approx(np.linalg.slogdet(dense)[1], rel=1e-9, abs=1e-9)
    inverse = np.linalg.inv(dense)
    for offset, band in enumerate(factor.inverse_bands()):
        np.testing.assert_allclose(band[: 2 * n - offset], np.diag(inverse, -offset), rtol=1e-6, atol=1e-9)


def test_a_matrix_that_is_not_positive_definite_is_refused() -> None:
    with pytest.raises(np.linalg.LinAlgError):
        Factor(np.array([[1.0, -1.0, 1.0], [0.0, 0.0, 0.0]]))
