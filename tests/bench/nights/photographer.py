"""A photographer who looks now and then, late, and turns the dials by whole clicks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from nights.camera import LEAST_ISO, LONGEST, MOST_ISO, SHORTEST, Setting
from nights.waves import Floats, Random

_WANTED_EV = -3.6  # mean luminance of a picture that pleases, stops below white
_MOST_OFF_EV = 0.8
_LEAST_ISO = 6  # ISO 400


@dataclass(frozen=True, slots=True)
class Habit:
    """`looks`: least and most frames between two looks. `fiddles`: chance a look of a change for no reason.

    `longest`: the longest shutter, clicks from 1 s.
    """

    looks: tuple[int, int] = (3, 8)
    fiddles: float = 0.15
    longest: int = 10


def shoot(scene_ev: Floats, habit: Habit, random: Random) -> list[Setting]:
    """Return the setting of each frame under a scene of mean light `scene_ev`, (n,) stops."""
    setting = Setting(min(6, habit.longest), 12, 6)
    setting = _turned(setting, round(3 * (_WANTED_EV - scene_ev[0] - setting.marks_ev)), habit, random)
    settings: list[Setting] = []
    next_look = int(random.integers(*habit.looks))
    for i, scene in enumerate(scene_ev):
        settings.append(setting)
        if i != next_look:
            continue
        next_look = i + int(random.integers(*habit.looks))
        off = _WANTED_EV - scene - setting.marks_ev
        if abs(off) > _MOST_OFF_EV:
            setting = _turned(setting, round(3 * (off + random.uniform(-0.3, 0.3))), habit, random)
        elif random.random() < habit.fiddles:
            setting = _turned(setting, int(random.choice([-2, 2, 3] if off > 0 else [-4, -3, 2])), habit, random)
    return settings


def _turned(setting: Setting, clicks: int, habit: Habit, random: Random) -> Setting:
    """Return the setting after `clicks` thirds of more light, shutter and ISO sharing them, as far as the dials go."""
    time, iso, aperture = setting.time, setting.iso, setting.aperture
    for dial in ("iso", "time", "iso") if random.random() < 0.35 else ("time", "iso"):
        if dial == "time":
            turned = int(np.clip(time + clicks, SHORTEST, min(LONGEST, habit.longest)))
            clicks, time = clicks - (turned - time), turned
        else:
            turned = int(np.clip(iso + clicks, _LEAST_ISO if clicks > -9 else LEAST_ISO, MOST_ISO))
            clicks, iso = clicks - (turned - iso), turned
    return Setting(time, iso, aperture)
