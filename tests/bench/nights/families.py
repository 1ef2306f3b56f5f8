"""The families of nights: what the sky does, who lit the ground, what the camera wrote, and what the files tell."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from enum import StrEnum

import numpy as np

from nights.curves import Tone
from nights.photographer import Habit
from nights.sky import Sky, random_clouds, random_curtain, random_patches, random_stars
from nights.waves import Floats, Random, random_waves

Clock = Floats
SkyMaker = Callable[[Random, Clock], Sky]


class Tells(StrEnum):
    """What the metadata tell; the value is the word printed."""

    ALL = "full EXIF"
    NONE = "no EXIF"
    SOME = "EXIF partly missing"
    AUTO_ISO = "auto ISO that EXIF hides"
    MANUAL_LENS = "f/0, aperture turned once"
    STEP_IN_EXIF_ONLY = "a step in EXIF only"
    STEP_IN_PIXELS_ONLY = "a step in pixels only"


@dataclass(frozen=True, slots=True)
class Bars:
    """The most a meter may read: `jitter` and `step`, stops; `band`, the step in each tone band, stops; None is no bar."""

    jitter: float | None
    step: float | None
    band: float | None = None


SRGB_BARS, CURVE_BARS, DEEP_BARS = Bars(0.008, 0.015), Bars(0.016, 0.03, 0.06), Bars(0.005, 0.010)
NO_EXIF_BARS, REAL_BARS = Bars(0.012, 0.03), Bars(0.015, 0.03)


@dataclass(frozen=True, slots=True)
class Family:
    """A kind of night: `frames` every `every_s` seconds, ground over `ground` of the height, and a camera.

    `flicker_ev`: sd of flicker, stops; None draws 0..0.1 for each night. `black`: sd of the black-level error, linear.
    `large`: a larger picture full of stars, as a camera's is. `spoilt`: headlamps, blown and black frames and a gap are put
    in. `steady`: one scene, one setting. `real`: the folder of real frames instead of a sky.
    """

    name: str
    sky: SkyMaker | None
    bars: Bars
    frames: int = 110
    every_s: float = 10.0
    ground: float = 0.25
    tone: Tone = Tone.SRGB
    deep: bool = False
    tells: Tells = Tells.ALL
    flicker_ev: float | None = None
    black: float = 0.0
    large: bool = False
    spoilt: bool = False
    steady: bool = False
    real: str = ""
    habit: Habit = field(default_factory=Habit)


def _quiet(random: Random, clock: Clock) -> Sky:
    """Return a dark sky with a slow airglow and no aurora."""
    n = clock.size
    drift = random_waves(random, 3, numbers=(0.3, 2), speed=0, height=0.06).at(np.linspace(0, 1, n), 0)
    none = np.zeros(n)
    return Sky(clock, np.exp2(drift), none, none, none, random_stars(random))


def _wander(random: Random, clock: Clock, height_ev: float, period_s: float) -> Floats:
    """Return a factor that wanders by `height_ev` stops (rms) with periods around `period_s`, (n,)."""
    waves = random_waves(random, 6, numbers=(0.3, 2.5), speed=0, height=height_ev)
    return np.exp2(waves.at(clock / period_s, 0))


def arc(random: Random, clock: Clock) -> Sky:
    """A quiet arc that drifts and breathes."""
    curtains = tuple(random_curtain(random, lively=0.05, share=share) for share in (0.7, 0.3))
    return replace(_quiet(random, clock), aurora=3 * _wander(random, clock, 0.25, 600), curtains=curtains)


def break_up(random: Random, clock: Clock) -> Sky:
    """A quiet arc that breaks up, the whole picture by 4 to 5 stops in under 20 frames, dances, and fades."""
    n, frames = clock.size, np.arange(clock.size)
    onset, rise = n * random.uniform(0.25, 0.4), random.uniform(12, 18)
    up = np.clip((frames - onset) / rise, 0, 1)
    fade = np.clip((frames - onset - rise - 12) / (0.4 * n), 0, 1)
    stops = random.uniform(5.2, 6) * (up * up * (3 - 2 * up)) * (1 - 0.8 * fade)
    dance = np.where(up > 0, np.log2(_wander(random, clock, 0.35, 60)), 0) * up
    curtains = tuple(random_curtain(random, lively=lively, share=0.3) for lively in (0.2, 0.7, 1.0))
    return replace(_quiet(random, clock), aurora=1.2 * np.exp2(stops + dance), curtains=curtains)


def pulsating(random: Random, clock: Clock) -> Sky:
    """Patches that come and go every 2 to 20 s over a faint glow."""
    faint = replace(_quiet(random, clock), aurora=0.8 * _wander(random, clock, 0.15, 300), glow=0.9)
    return replace(faint, curtains=(random_curtain(random, lively=0.1, share=1.0),), patches=random_patches(random))


def dusk(random: Random, clock: Clock) -> Sky:
    """From dusk to night: 9 stops, no aurora."""
    along = np.linspace(0, 1, clock.size)
    left = 9.5 * (1 - along) ** random.uniform(1.2, 1.6)
    return replace(_quiet(random, clock), twilight=np.exp2(left) - 1)


def moonrise(random: Random, clock: Clock) -> Sky:
    """The Moon comes up over a quiet arc."""
    along = np.clip((np.linspace(0, 1, clock.size) - random.uniform(0.1, 0.3)) / 0.65, 0, 1)
    return replace(arc(random, clock), moon=along, moonlight=random.uniform(6, 14))


def cloudy(random: Random, clock: Clock) -> Sky:
    """Clouds drift over a quiet arc."""
    wind, cover = random.uniform(0.05, 0.25), random.uniform(0.6, 0.95)
    return replace(arc(random, clock), clouds=random_clouds(random), wind=wind, cover=cover)


_ALL = (
    Family("break-up", break_up, SRGB_BARS, every_s=6, large=True),
    Family("break-up, few pixels", break_up, SRGB_BARS, every_s=6),
    Family("dusk to night", dusk, SRGB_BARS, every_s=30),
    Family("quiet arc", arc, SRGB_BARS),
    Family("pulsating patches", pulsating, SRGB_BARS, every_s=3, habit=Habit(longest=3), large=True),
    Family("moonrise", moonrise, SRGB_BARS, every_s=20, large=True),
    Family("drifting clouds", cloudy, SRGB_BARS),
    Family("no ground in view", break_up, SRGB_BARS, every_s=6, ground=0.0, large=True),
    Family("almost all ground", break_up, SRGB_BARS, every_s=6, ground=0.85, large=True),
    Family("black-level error", arc, SRGB_BARS, black=0.0008),
    Family("S-shaped, break-up", break_up, CURVE_BARS, every_s=6, tone=Tone.S_SHAPED, large=True),
    Family("S-shaped, arc", arc, CURVE_BARS, tone=Tone.S_SHAPED),
    Family("lifted, break-up", break_up, CURVE_BARS, every_s=6, tone=Tone.LIFTED, large=True),
    Family("lifted, moonrise", moonrise, CURVE_BARS, every_s=20, tone=Tone.LIFTED, large=True),
    Family("shoulder, break-up", break_up, CURVE_BARS, every_s=6, tone=Tone.SHOULDER, large=True),
    Family("shoulder, dusk", dusk, CURVE_BARS, every_s=30, tone=Tone.SHOULDER),
    Family("16 bits, break-up", break_up, DEEP_BARS, every_s=6, deep=True, large=True),
    Family("16 bits, dusk", dusk, DEEP_BARS, every_s=30, deep=True),
    Family("no EXIF, break-up", break_up, NO_EXIF_BARS, every_s=6, tells=Tells.NONE, large=True),
    Family("no EXIF, arc", arc, NO_EXIF_BARS, tells=Tells.NONE),
    Family("EXIF partly missing", arc, NO_EXIF_BARS, tells=Tells.SOME),
    Family("auto ISO", arc, NO_EXIF_BARS, tells=Tells.AUTO_ISO),
    Family("manual lens", arc, NO_EXIF_BARS, tells=Tells.MANUAL_LENS),
    Family("step in EXIF only", arc, NO_EXIF_BARS, tells=Tells.STEP_IN_EXIF_ONLY),
    Family("step in pixels only", arc, NO_EXIF_BARS, tells=Tells.STEP_IN_PIXELS_ONLY),
    Family("spoilt frames", arc, SRGB_BARS, spoilt=True),
    Family("steady", arc, Bars(None, None), flicker_ev=0.0, steady=True),
    Family("real colour aurora", None, REAL_BARS, frames=100, every_s=3, real="aurora_smile"),
    Family("real substorm", None, REAL_BARS, frames=120, every_s=3, real="aurora_themis_gill"),
)
FAMILIES = {family.name: family for family in _ALL}
"""All families by name."""
