"""How far one camera's clock is off another's, from the light that both saw.

Each camera's light is brought to an even grid and band-passed: what is slower than some minutes (trend, exposure that was
kept up) and what is finer than the interval (noise) goes. The cross-correlation over all shifts is divided by the standard
deviation it would have for light of two nights that have nothing to do with each other: Bartlett's (1946) formula for the
memory of both, and products of squares instead of means, so that one break-up on either side does not pass for likeness.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft
from scipy.ndimage import gaussian_filter1d

Floats = NDArray[np.float64]

RANGE_S = 13 * 3600.0
"""Time zones, daylight saving and a mistaken noon are within it."""

_SLOW = (2.0, 5.0, 12.0, 30.0)  # intervals: what changes more slowly is trend; the light decides which shows most likeness
_LONGEST_S = 60.0  # an interval beyond it tells too little
_MOST_PLACES = 500_000  # of the grid; a clock that was reset within a shot spans years
_AROUND = 6.0  # intervals over which light is about equally uneasy
_HOLE = 4.0  # intervals without light, from which on there is a hole in it
_LEAST_FRAMES = 40  # usable frames of either, and of both together
_SURE_Z, _CLEAR = 7.0, 1.5  # chance reaches 4.6 on made nights, two break-ups or arcs of one shape alike 6
_LEAST_LIKENESS, _MOST_LIKENESS = 0.25, 0.9
_CLOCK_S = 0.3  # most clocks tell whole seconds: what is left of that in the mean


@dataclass(frozen=True, slots=True)
class Proposal:
    """Add `seconds` to the second camera's clock. `error_s`: standard error. `likeness`: correlation of the light, to 1.

    `z`: how many standard deviations the peak is above chance. `rival_z`: the next best shift's.
    """

    seconds: float
    error_s: float
    likeness: float
    z: float
    rival_z: float


@dataclass(frozen=True, slots=True)
class _Grid:
    """Band-passed light every `step_s` from `start_s` on; 0 where there is none, and `there` 0 or 1."""

    light: Floats
    there: Floats
    start_s: float


@dataclass(frozen=True, slots=True)
class _Match:
    """For each of `shifts_s`: likeness, significance, and for how many grid places both have light."""

    shifts_s: Floats
    likeness: Floats
    z: Floats
    both: Floats


def proposed_offset(
    times_a: Floats, light_a: Floats, times_b: Floats, light_b: Floats, *, range_s: float = RANGE_S
) -> Proposal | None:
    """Return what to add to the times of camera b so that its light goes with that of a; None where that is not clear.

    `times_*`: (n,) middles of the exposures, seconds. `light_*`: (n,) scene light of one shot, stops, NaN unknown.
    `range_s`: how far off the clock may be, either way.
    """
    a, b = _usable(times_a, light_a), _usable(times_b, light_b)
    if min(a[0].size, b[0].size) < _LEAST_FRAMES:
        return None
    interval = max(float(np.median(np.diff(a[0]))), float(np.median(np.diff(b[0]))))
    step = interval / 2
    if interval > _LONGEST_S or max(np.ptp(a[0]), np.ptp(b[0])) > _MOST_PLACES * step:
        return None
    found = []
    for slow in _SLOW:
        grids = _grid(*a, step, interval, slow * interval), _grid(*b, step, interval, slow * interval)
        found.append(_clear_peak(_matched(*grids, step, range_s, 2 * _LEAST_FRAMES), step))
    return max((peak for peak in found if peak), key=lambda peak: peak.z, default=None)


def _usable(times: Floats, light: Floats) -> tuple[Floats, Floats]:
    """Return times that rise, and the light at them."""
    known = np.isfinite(times) & np.isfinite(light)
    rising, first = np.unique(np.asarray(times, float)[known], return_index=True)
    return rising, np.asarray(light, float)[known][first]


def _grid(times: Floats, light: Floats, step: float, interval: float, slow_s: float) -> _Grid:
    """Return the light between slow and fine; smoothing is by weights, so that holes leave no edges."""
    places = np.arange(times[0], times[-1] + step / 2, step)
    after = np.searchsorted(times, places).clip(1, times.size - 1)
    there = (times[after] - times[after - 1] <= _HOLE * max(interval, float(np.median(np.diff(times))))).astype(float)
    even = np.interp(places, times, light - np.median(light)) * there

    def smooth(sigma_s: float) -> Floats:
        top, bottom = (gaussian_filter1d(values, sigma_s / step, mode="constant") for values in (even, there))
        return np.asarray(top / np.maximum(bottom, 1e-9), float)

    return _Grid((smooth(0.5 * interval) - smooth(slow_s)) * there, there, float(times[0]))


def _matched(a: _Grid, b: _Grid, step: float, range_s: float, least: int) -> _Match:
    """Return how well b's light goes with a's at every shift within the range at which enough of both overlap.

    Significance is Fisher's (1921) transform of the correlation, for as many free places as the light of both leaves.
    """
    size = next_fast_len(a.light.size + b.light.size, real=True)
    lags = np.arange(1 - b.light.size, a.light.size)

    def correlate(first: Floats, second: Floats) -> Floats:
        """Return the sum over i of first[i + lag] * second[i] at every lag."""
        both = irfft(rfft(first, size) * np.conj(rfft(second, size)), size)
        return np.asarray(both[lags % size], float)

    squares_a, squares_b = a.light**2, b.light**2
    products = correlate(a.light, b.light)
    around_a, around_b = (gaussian_filter1d(squares, 2 * _AROUND, mode="constant") for squares in (squares_a, squares_b))
    uneven = np.maximum(correlate(around_a, around_b), correlate(squares_a, squares_b) / 3)  # a third: of one normal light
    power = np.maximum(correlate(squares_a, b.there) * correlate(a.there, squares_b), 1e-30)
    likeness = products / np.sqrt(power)
    free = power / (np.maximum(uneven, 1e-30) * _memory(a, b))
    z = np.arctanh(np.clip(likeness, -_MOST_LIKENESS, _MOST_LIKENESS)) * np.sqrt(np.maximum(free - 3, 0))
    both = np.rint(correlate(a.there, b.there))
    shifts = lags * step + a.start_s - b.start_s
    kept = (np.abs(shifts) <= range_s) & (both >= least)
    return _Match(shifts[kept], likeness[kept], z[kept], both[kept])


def _memory(a: _Grid, b: _Grid) -> float:
    """Return the sum over all lags of the product of both autocorrelations, at least 1: Bartlett's loss of freedom."""
    reach = min(a.light.size, b.light.size) - 1
    own = [_own_correlation(grid.light, reach) for grid in (a, b)]
    return max(1.0, 1.0 + 2.0 * float(np.sum(own[0][1:] * own[1][1:])))


def _own_correlation(light: Floats, reach: int) -> Floats:
    """Return the autocorrelation at lags 0 to `reach`, rare large swings held down."""
    spread = 1.4826 * float(np.median(np.abs(light))) or 1.0
    held = np.clip(light / spread, -4.0, 4.0)
    power = np.abs(rfft(held, next_fast_len(2 * light.size, real=True))) ** 2
    own = irfft(power)[: reach + 1]
    return np.asarray(own / max(float(own[0]), 1e-30), float)


def _clear_peak(match: _Match, step: float) -> Proposal | None:
    """Return the best shift, to a fraction of the grid, if it is well above chance and above every other.

    Standard error: that of a delay between noisy signals, variance (1 - r^2) / (n r |r''|) (Carter 1987), r'' the peak's
    curvature.
    """
    if match.z.size < 3:
        return None
    top = int(np.argmax(match.z))
    below = np.flatnonzero(match.z <= 0)
    left, right = below[below < top], below[below > top]
    own = slice(left[-1] if left.size else 0, right[0] if right.size else match.z.size)
    others = np.delete(match.z, own)
    rival = max(float(others.max(initial=0.0)), 0.0)
    z, likeness = float(match.z[top]), float(match.likeness[top])
    contiguous = 0 < top < match.z.size - 1 and np.ptp(match.shifts_s[top - 1 : top + 2]) < 2.5 * step
    if not contiguous or z < max(_SURE_Z, _CLEAR * rival) or likeness < _LEAST_LIKENESS:
        return None
    before, here, after = match.likeness[top - 1 : top + 2].tolist()
    bend = max(2 * here - before - after, 1e-9)
    seconds = float(match.shifts_s[top]) + step * (after - before) / (2 * bend)
    free = float(match.both[top]) / 4  # places: with it the errors on made nights are as large as is said
    error = step * (max(1 - here**2, 1e-4) / (free * here * bend)) ** 0.5
    return Proposal(seconds, hypot(error, _CLOCK_S), likeness, z, rival)
