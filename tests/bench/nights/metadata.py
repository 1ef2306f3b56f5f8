"""What the files of a night tell of its settings: all, nothing, some, or something that is not so."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from nights.camera import Setting
from nights.families import Tells
from nights.waves import Random

Names = tuple[float | None, float | None, float | None]
_UNKNOWN: Names = (None, None, None)


@dataclass(frozen=True, slots=True)
class Told:
    """`names`: shutter (s), f-number, ISO of each frame as told. `disagree`: frames from which on that is not so."""

    names: list[Names]
    disagree: tuple[int, ...] = ()


def told(tells: Tells, settings: list[Setting], random: Random) -> tuple[list[Setting], Told]:
    """Return the settings really used and what the files tell of them."""
    names: list[Names] = [setting.names for setting in settings]
    if tells is Tells.ALL:
        return settings, Told(names)
    if tells is Tells.NONE:
        return settings, Told([_UNKNOWN] * len(names))
    if tells is Tells.SOME:
        return settings, Told(_some(names, settings, random))
    if tells is Tells.AUTO_ISO:
        hidden = tuple(i for i in range(1, len(names)) if settings[i].iso != settings[i - 1].iso)
        return settings, Told([(time, stop, names[0][2]) for time, stop, _ in names], hidden)
    return _one_step(tells, settings, names, random)


def _some(names: list[Names], settings: list[Setting], random: Random) -> list[Names]:
    """Return the names without those of single frames here and there and of three frames at every other change."""
    missing = random.random(len(names)) < 0.15
    changes = [i for i in range(1, len(names)) if settings[i] != settings[i - 1]]
    for i in changes[::2]:
        missing[max(0, i - 1) : i + 2] = True
    return [_UNKNOWN if gone else name for gone, name in zip(missing, names, strict=True)]


def _one_step(tells: Tells, settings: list[Setting], names: list[Names], random: Random) -> tuple[list[Setting], Told]:
    """Return a night with one step of a stop that only the files or only the pictures show, away from other changes."""
    at = _quiet_place(settings, random)
    if tells is Tells.STEP_IN_EXIF_ONLY:
        later: list[Names] = [replace(setting, aperture=setting.aperture - 3).names for setting in settings[at:]]
        return settings, Told(names[:at] + later, (at,))
    turned = settings[:at] + [replace(setting, aperture=setting.aperture + 3) for setting in settings[at:]]
    if tells is Tells.MANUAL_LENS:
        names = [(time, 0.0, iso) for time, _, iso in names]
    return turned, Told(names, (at,))


def _quiet_place(settings: list[Setting], random: Random) -> int:
    """Return a frame in the middle half of the night that is far from the settings' own changes."""
    n = len(settings)
    changes = np.array([i for i in range(1, n) if settings[i] != settings[i - 1]] or [0])
    places = np.arange(n // 4, 3 * n // 4)
    far = np.abs(places[:, None] - changes).min(axis=1)
    return int(random.choice(places[far >= min(6, int(far.max()))]))
