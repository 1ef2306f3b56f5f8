"""Presets of the light: settings that suit a kind of night, by names in plain words."""

from __future__ import annotations

from dataclasses import replace
from enum import StrEnum

from lapsebench.core.filmlight import LightSettings


class Preset(StrEnum):
    """Kinds of night; the value is the name a command takes."""

    STEADY = "steady-night"
    BREAK_UP = "break-up"
    DUSK = "dusk-to-night"
    AS_SHOT = "as-shot"


_SETTINGS: dict[Preset, tuple[float, float]] = {
    Preset.STEADY: (0.1, 1.5),
    Preset.BREAK_UP: (0.85, 6.0),
    Preset.DUSK: (0.3, 12.0),
}
"""Share of slow sky changes kept, and ramp length in seconds of film (own judgement, no source).

Steady night: the breathing of an arc, a stop and a half over minutes, shrinks to a sixth of a stop, hardly seen; the ramp
is short so that the exposure follows it, and so that a sudden burst makes it turn down only a second and a half before.
Break-up: a rise of five and a half stops keeps five; the rest is taken out over so long a ramp that no turn of it is seen,
and the roll-off bends the brightest parts. Dusk to night: of nine stops of dusk about one is left, so that night looks
darker than dusk and its stars come out; all that the sky does faster than the long ramp stays.
"""


def with_preset(settings: LightSettings, preset: Preset) -> LightSettings:
    """Return the settings with the preset's; brightness, flicker and pegs stay as they are."""
    if preset is Preset.AS_SHOT:
        return replace(settings, even=False)
    sky_kept, ramp_s = _SETTINGS[preset]
    return replace(settings, even=True, sky_kept=sky_kept, ramp_s=ramp_s)


def preset_of(settings: LightSettings) -> Preset | None:
    """Return the preset that the settings equal, None for the user's own."""
    return next((preset for preset in Preset if with_preset(settings, preset) == settings), None)
