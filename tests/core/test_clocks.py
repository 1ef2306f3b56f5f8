"""A clock that is off is found from the light of two cameras, and nothing is made up where the light does not tell."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import correlate, correlation_lags

from lapsebench.core.clocks import Proposal, proposed_offset

Floats = NDArray[np.float64]
HOURS = 5
SECONDS = HOURS * 3600


class Seen(NamedTuple):
    """What one camera saw: middles of its exposures and scene light."""

    times: Floats
    light: Floats


def aurora(random: np.random.Generator) -> Floats:
    """Return stops, second by second: a random walk, three times as lively for some minutes."""
    time = np.arange(SECONDS)
    lively = 1 + 3 * np.exp(-(((time - random.uniform(0, SECONDS)) / 900) ** 2))
    return np.asarray(np.cumsum(0.02 * random.standard_normal(SECONDS) * lively))


def shoot(random: np.random.Generator, night: Floats, *, gain: float = 1.0, noise: float = 0.02) -> Seen:
    """Return the night as a camera sees it: its own interval, start, end, exposure time, level, gain and noise."""
    every = random.uniform(5, 25)
    exposure = every * random.uniform(0.3, 0.9)
    starts = np.arange(random.uniform(10, 4000), random.uniform(12_000, SECONDS - 30), every)
    sums = np.concatenate([[0.0], np.cumsum(night)])
    before, after = (np.interp(at, np.arange(sums.size), sums) for at in (starts, starts + exposure))
    light = gain * (after - before) / exposure + random.normal(0, noise, starts.size) + random.normal(0, 3)
    return Seen(starts + exposure / 2, np.asarray(light))


def pair(seed: int) -> tuple[Seen, Seen, float]:
    """Return a night seen by two cameras, the second with its clock off, and by how much it is to be put right."""
    random = np.random.default_rng(seed)
    night, off = aurora(random), random.uniform(-12, 12) * 3600
    first = shoot(random, night)
    second = shoot(random, night, gain=random.uniform(0.5, 1.2), noise=0.05)
    return first, second._replace(times=second.times - off), off


def proposed(first: Seen, second: Seen) -> Proposal | None:
    return proposed_offset(first.times, first.light, second.times, second.light)


def test_a_clock_that_is_off_is_found_as_exactly_as_it_says() -> None:
    found, errors, off_by = 0, [], []
    for seed in range(60):
        first, second, off = pair(seed)
        proposal = proposed(first, second)
        if proposal is not None:
            found += 1
            off_by.append(abs(proposal.seconds - off))
            errors.append(proposal.error_s)
    ratio = np.array(off_by) / np.array(errors)
    print(f"found {found} of 60; off by {np.median(off_by):.2f} s, at most {max(off_by):.2f} s; rms / said {rms(ratio):.2f}")
    assert found >= 50
    assert max(off_by) < 6
    assert 0.5 < rms(ratio) < 1.4


def rms(values: Floats) -> float:
    return float(np.sqrt(np.mean(values**2)))


def test_it_agrees_with_scipys_correlation() -> None:
    """On whole-second light without holes, high-passed alike, SciPy's highest peak is at the same shift."""
    for seed in range(5):
        random = np.random.default_rng(seed)
        night = aurora(random)[::10]
        a, b = night[: 1000 + 20 * seed], night[300:]
        proposal = proposed_offset(
            10.0 * np.arange(a.size, dtype=np.float64), a, 10.0 * np.arange(b.size, dtype=np.float64), b
        )
        first, second = np.diff(a), np.diff(b)
        peak = correlation_lags(first.size, second.size)[np.argmax(correlate(first, second))]
        assert peak == 300
        assert proposal is not None
        assert proposal.seconds == pytest.approx(10.0 * peak, abs=0.5)
        assert proposal.likeness > 0.99


def unlike(kind: str, random: np.random.Generator) -> Seen:
    """Return light of a kind that tells no time, on a clock of its own."""
    if kind == "other nights":
        return shoot(random, aurora(random))
    every = 10.0 if kind == "noise at one interval" else random.uniform(5, 25)
    time = np.arange(0, random.uniform(1, 6) * 3600, every)
    light = random.normal(0, random.uniform(0.005, 0.05), time.size)
    if kind == "flat":
        light[:] = 1.0
    elif kind == "quiet arcs":
        light = 0.1 * light + np.sin(2 * np.pi * (time / random.uniform(1500, 9000) + random.uniform()))
    elif kind == "a break-up each":
        since = time - random.uniform(0.2, 0.8) * time[-1]
        rise, fall = random.uniform(20, 90), random.uniform(200, 900)
        light += random.uniform(1, 4) * np.exp(-np.abs(since) / np.where(since > 0, fall, rise))
    elif kind == "pulsating":
        light += 0.3 * np.sin(2 * np.pi * time / 60)
    elif kind == "lamps":
        light += random.uniform(0.5, 3, time.size) * (random.random(time.size) < 0.02)
    return Seen(time + random.uniform(-3e4, 3e4), light)


@pytest.mark.parametrize(
    "kind",
    ["other nights", "noise", "noise at one interval", "flat", "quiet arcs", "a break-up each", "pulsating", "lamps"],
)
def test_nothing_is_proposed_for_light_that_does_not_tell(kind: str) -> None:
    random = np.random.default_rng(7)
    assert not [found for _ in range(200) if (found := proposed(unlike(kind, random), unlike(kind, random)))]


def test_unknown_light_holes_and_double_times_do_no_harm() -> None:
    first, second, off = pair(3)
    light = first.light.copy()
    light[::7] = np.nan
    kept = np.ones(second.times.size, bool)
    kept[200:290] = False
    times = second.times[kept]
    times[50] = times[51]
    proposal = proposed_offset(first.times, light, times, second.light[kept])
    assert proposal is not None
    assert proposal.seconds == pytest.approx(off, abs=5)


def test_an_offset_beyond_the_range_is_not_proposed() -> None:
    first, second, off = pair(3)
    assert proposed(first, second) is not None
    assert proposed_offset(first.times, first.light, second.times, second.light, range_s=abs(off) / 2) is None


def test_a_clock_that_was_reset_within_a_shot_tells_nothing() -> None:
    first, second, _ = pair(3)
    times = second.times.copy()
    times[100:] -= 1.7e9
    assert proposed(first, second._replace(times=times)) is None


def test_few_frames_tell_nothing() -> None:
    first, second, _ = pair(3)
    assert proposed(Seen(first.times[:30], first.light[:30]), second) is None
    nothing = Seen(np.array([]), np.array([]))
    assert proposed(nothing, nothing) is None
