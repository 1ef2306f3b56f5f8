"""The penalised spline of a response's fit: sRGB's stops plus cubic B-splines over the codes, in tables."""

from __future__ import annotations

import numpy as np
from scipy.interpolate import BSpline

from lapsebench.core.response_samples import Floats, srgb_stops

BASIS, _DEGREE = 26, 3
FINE = 4096
"""Steps of code in tables."""
SLOPES = (0.15, 12.0)
"""Least and most that a response rises by, against sRGB's stops."""
_ENDS = (0.03, 0.06)  # codes from black and white within which the basis grows no denser
_TURN = 0.03  # prior sd of the spline's second differences, stops
_SLOPE = 0.3  # and of its first


class Place:
    """Where codes, (m,), lie among `CODES`: what a table over those is there, several times faster than by search."""

    def __init__(self, codes: Floats) -> None:
        place = codes * FINE
        self._below = np.minimum(place.astype(np.intp), FINE - 1)
        self._share = place - self._below

    def of(self, table: Floats) -> Floats:
        """Return the table's values, (m,), linear between its own."""
        below = table[self._below]
        return np.asarray(below + self._share * np.diff(table)[self._below])


def _axis(codes: Floats) -> Floats:
    """Return 0..1 for codes 0..1, along which the basis is even: dense near black and white, as tone curves bend there."""
    ends = np.log((np.array([0.0, 1.0]) + _ENDS[0]) / (np.array([1.0, 0.0]) + _ENDS[1]))
    place: Floats = np.log((codes + _ENDS[0]) / (1 - codes + _ENDS[1]))
    return np.asarray((place - ends[0]) / (ends[1] - ends[0]))


def _basis_table() -> Floats:
    """Return cubic B-splines, (codes, basis): stars read the curve's slope, and a slope in stairs would mislead them."""
    even = np.linspace(0.0, 1.0, BASIS - _DEGREE + 1)
    at = np.concatenate([np.zeros(_DEGREE), even, np.ones(_DEGREE)])
    return np.asarray(BSpline.design_matrix(_axis(CODES).clip(0.0, 1.0), at, _DEGREE).toarray())


def splines(codes: Floats) -> Floats:
    """Return the B-splines at codes, (m,) -> (m, basis)."""
    return np.asarray(_TABLE[np.rint(codes * FINE).astype(np.intp)])


def curve_of(solved: Floats) -> Floats:
    """Return h over `CODES`, 0 at white, made to rise within `SLOPES` of sRGB's stops."""
    rise = np.diff(PLAIN + _TABLE @ solved)
    plain = np.diff(PLAIN)
    rise = np.clip(rise, SLOPES[0] * plain, SLOPES[1] * plain) + 1e-9
    height: Floats = np.concatenate([[0.0], np.cumsum(rise)])
    return np.asarray(height - height[-1])


def _prior() -> Floats:
    """Return the precision of the spline: smooth, near sRGB, 0 at white."""
    turns, slopes = np.diff(np.eye(BASIS), n=2, axis=0), np.diff(np.eye(BASIS), axis=0)
    precision = turns.T @ turns / _TURN**2 + slopes.T @ slopes / _SLOPE**2
    precision[-1, -1] += 1e6
    return np.asarray(precision)


CODES = np.linspace(0.0, 1.0, FINE + 1)
"""The codes of tables."""
PLAIN: Floats = srgb_stops(CODES)
"""sRGB's stops at them."""
PLAIN_RISE: Floats = np.maximum(np.gradient(PLAIN), 1e-4)
"""How much those rise from one to the next."""
_TABLE, PRIOR = _basis_table(), _prior()
