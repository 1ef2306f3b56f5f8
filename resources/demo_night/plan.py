"""The story of the demo night: when each frame was taken, with which settings, and how bright the sky then was."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from fractions import Fraction
from functools import cache

import numpy as np
from scipy.interpolate import PchipInterpolator

SEED = 20260211
FRAME_COUNT = 120
START = datetime(2026, 2, 11, 21, 4, 10, 370_000, tzinfo=timezone(timedelta(hours=1)))
BIAS_SD_EV = 0.05
FLICKER_SD_EV = 0.04
QUIET_EV = -11.75
"""log2 of the mean luminance of the quiet sky per unit exposure: a mean code near 50 at 15 s, f/1.8, ISO 3200."""

STRAY_LIGHT_FRAME = 103
BLOWN_FRAMES = (57, 58)
GAP_FRAME = 38
GAP_S = 338.0


@dataclass(frozen=True)
class Setting:
    """What the dials say: nominal shutter in seconds, f-number and ISO."""

    shutter_s: Fraction
    f_number: Fraction
    iso: int

    @property
    def true_shutter_s(self) -> float:
        """The shutter time behind the mark, in seconds: the nearest power of two in thirds of a stop."""
        return float(2.0 ** (round(3 * math.log2(self.shutter_s)) / 3))

    @property
    def true_f_number(self) -> float:
        """The f-number behind the mark: the nearest third of a stop of aperture."""
        return float(2.0 ** (round(6 * math.log2(self.f_number)) / 6))

    @property
    def marks_ev(self) -> float:
        """Camera exposure log2(t S / 100 / N^2) at true marks, in stops."""
        speed_ev = round(3 * math.log2(self.iso / 100)) / 3
        return math.log2(self.true_shutter_s) + speed_ev - 2 * math.log2(self.true_f_number)


def _setting(shutter_s: str, f_number: str, iso: int) -> Setting:
    return Setting(Fraction(shutter_s), Fraction(f_number), iso)


SETTINGS: dict[int, Setting] = {
    0: _setting("13", "1.8", 2000),
    12: _setting("15", "1.8", 3200),
    28: _setting("10", "1.8", 6400),
    46: _setting("10", "1.8", 4000),
    59: _setting("2", "1.8", 1600),
    63: _setting("1", "2.2", 3200),
    75: _setting("2.5", "2.2", 3200),
    84: _setting("6", "2.2", 3200),
    98: _setting("8", "1.8", 3200),
    110: _setting("13", "1.8", 3200),
}
"""First frame of every run of equal settings."""

_LIGHT_KNOTS = {
    0: 0.30, 8: 0.15, 20: 0.0, 30: -0.15, 38: -0.2, 43: 0.1, 48: 0.70, 52: 1.20, 55: 1.45, 56: 1.57, 57: 3.70, 58: 4.50,
    60: 4.62, 63: 4.62, 67: 4.45, 72: 4.12, 77: 3.40, 82: 2.75, 88: 2.15, 94: 1.70, 102: 1.15, 110: 0.75, 119: 0.45,
}  # fmt: skip
_PACE_KNOTS = {0: 0.0030, 40: 0.0035, 48: 0.0055, 55: 0.010, 58: 0.016, 61: 0.027, 70: 0.025, 80: 0.013, 95: 0.006,
               119: 0.0035}  # fmt: skip


@dataclass(frozen=True)
class PlannedFrame:
    """One frame before it is taken: times in seconds since the first, light in stops, `tau` the aurora's own clock."""

    index: int
    file: str
    time: datetime
    start_s: float
    setting: Setting
    setting_change: bool
    marks_ev: float
    bias_ev: float
    flicker_ev: float
    scene_ev: float
    tau: float
    pace: float
    faults: tuple[str, ...]

    @property
    def received_ev(self) -> float:
        """The exposure the frame really receives, in stops."""
        return self.marks_ev + self.bias_ev + self.flicker_ev


def setting_at(index: int) -> Setting:
    """The setting in force at frame `index`."""
    return SETTINGS[max(first for first in SETTINGS if first <= index)]


def knots_at(knots: dict[int, float], position: float) -> float:
    """Monotone cubic interpolation of `knots` (frame -> value) at a frame position."""
    return float(PchipInterpolator(list(knots), list(knots.values()))(position))


def _faults(index: int) -> tuple[str, ...]:
    named = {"stray light": (STRAY_LIGHT_FRAME,), "blown": BLOWN_FRAMES, "gap": (GAP_FRAME,)}
    return tuple(name for name, frames in named.items() if index in frames)


def _start_times(rng: np.random.Generator) -> list[float]:
    """Start of every frame in seconds, rounded to 0.01 s: shutter, write time, fumbling with the dials, one gap."""
    starts = [0.0]
    for index in range(1, FRAME_COUNT):
        pause = 2.4 + float(rng.uniform(-0.03, 0.03))
        pause += float(rng.uniform(0.4, 1.1)) if index in SETTINGS else 0.0
        pause += GAP_S if index == GAP_FRAME else 0.0
        starts.append(round(starts[-1] + setting_at(index - 1).true_shutter_s + pause, 2))
    return starts


def _aurora_clock(starts: Sequence[float]) -> tuple[list[float], list[float]]:
    """The aurora's own time and its pace per second: slow in the quiet arc, fast in the break-up."""
    paces = [knots_at(_PACE_KNOTS, index) for index in range(FRAME_COUNT)]
    tau = [0.0]
    for index in range(1, FRAME_COUNT):
        elapsed = starts[index] - starts[index - 1]
        tau.append(tau[-1] + elapsed * (paces[index] + paces[index - 1]) / 2)
    return tau, paces


def _breathing(tau: float) -> float:
    """A small restlessness of the whole display, in stops."""
    return 0.04 * math.sin(9.1 * tau + 0.6) + 0.03 * math.sin(15.7 * tau + 2.0)


@cache
def plan_night() -> tuple[PlannedFrame, ...]:
    """All frames of the night in shooting order; the same ones at every call."""
    rng = np.random.default_rng(SEED)
    starts = _start_times(rng)
    tau, paces = _aurora_clock(starts)
    distinct = list(dict.fromkeys(SETTINGS.values()))
    biases = dict(zip(distinct, (float(b) for b in rng.normal(0, BIAS_SD_EV, len(distinct))), strict=True))
    flicker = [float(f) for f in rng.normal(0, FLICKER_SD_EV, FRAME_COUNT)]
    return tuple(
        PlannedFrame(
            index=index,
            file=f"VN2_{index + 4187:04d}.JPG",
            time=START + timedelta(seconds=starts[index]),
            start_s=starts[index],
            setting=setting_at(index),
            setting_change=index > 0 and index in SETTINGS,
            marks_ev=setting_at(index).marks_ev,
            bias_ev=biases[setting_at(index)],
            flicker_ev=flicker[index],
            scene_ev=QUIET_EV + knots_at(_LIGHT_KNOTS, index) + _breathing(tau[index]),
            tau=tau[index],
            pace=paces[index],
            faults=_faults(index),
        )
        for index in range(FRAME_COUNT)
    )
