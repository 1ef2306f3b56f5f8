"""The look of a film: what is done to every frame alike, by plain sliders, and the limits of each."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from enum import StrEnum

MOST_EXPOSURE_EV = 3.0
"""Stops that the exposure of a look goes up or down."""
_ONE_SIDED = {"highlights", "sharpen", "noise", "lut_share"}
_NOT_NUMBERS = {"lut"}


def limits(name: str) -> tuple[float, float]:
    """Return the least and the greatest value of a slider, by its field's name."""
    if name == "exposure":
        return -MOST_EXPOSURE_EV, MOST_EXPOSURE_EV
    return (0.0 if name in _ONE_SIDED else -100.0), 100.0


@dataclass(frozen=True, slots=True)
class Look:
    """Sliders of the look; 0 does nothing, and all at 0 leave every pixel as it is.

    `warmth`, -100..100: colder or warmer, and `tint`: greener or more magenta, as in `core.lookcolour`. `exposure`,
    -3..3 stops. `contrast`, -100..100: about the mid grey of a night. `highlights`, 0..100: how softly the brightest light
    runs into white. `shadows`, -100..100: darkest parts closed or opened, black stays; all three in `core.looktones`.
    `saturation`, -100..100: -100 is grey; hue and luminance stay. `noise`, 0..100: noise taken out, points of light kept.
    `star_care`, -100..100: light of points above their surroundings halved or doubled. `sharpen`, 0..100. `lut`: path of a
    .cube file, and `lut_share`, 0..100 %, how much of it.
    """

    warmth: float = 0.0
    tint: float = 0.0
    exposure: float = 0.0
    contrast: float = 0.0
    highlights: float = 0.0
    shadows: float = 0.0
    saturation: float = 0.0
    sharpen: float = 0.0
    star_care: float = 0.0
    noise: float = 0.0
    lut: str | None = None
    lut_share: float = 100.0

    def __post_init__(self) -> None:
        """Raise ValueError for what lies outside a slider's limits or is not a number."""
        for name in SLIDERS:
            least, most = limits(name)
            if not least <= getattr(self, name) <= most:
                raise ValueError(f"{name} of a look must be from {least:g} to {most:g}")

    @property
    def is_plain(self) -> bool:
        """Whether the look changes nothing."""
        return not self.uses_lut and not any(getattr(self, name) for name in SLIDERS if name != "lut_share")

    @property
    def has_plain_detail(self) -> bool:
        """Whether noise, stars and sharpness are left as they are."""
        return not any((self.sharpen, self.star_care, self.noise))

    @property
    def uses_lut(self) -> bool:
        """Whether a look-up table has a share in it."""
        return self.lut is not None and self.lut_share > 0


SLIDERS = tuple(field.name for field in fields(Look) if field.name not in _NOT_NUMBERS)
"""Names of all sliders."""


class LookPreset(StrEnum):
    """Looks by plain words; the value is the name a command takes."""

    NATURAL_NIGHT = "natural-night"
    CLEAR_STARS = "clear-stars"
    SOFT_GLOW = "soft-glow"


_PRESETS = {
    LookPreset.NATURAL_NIGHT: Look(contrast=15, highlights=30, shadows=10, saturation=10, noise=25, sharpen=10),
    LookPreset.CLEAR_STARS: Look(
        warmth=-10, contrast=30, highlights=40, shadows=-15, saturation=15, noise=35, star_care=35, sharpen=25
    ),
    LookPreset.SOFT_GLOW: Look(warmth=10, contrast=-10, highlights=60, shadows=25, saturation=15, noise=50, star_care=-25),
}
"""Own judgement on the demo night and real aurora, no source.

Natural night: what the eye expects, a little clearer than flat. Clear stars: a dark, cool sky with its points held up.
Soft glow: quiet aurora over an opened landscape, bright parts gentle.
"""


def with_look_preset(look: Look, preset: LookPreset) -> Look:
    """Return the preset's sliders; exposure and look-up table stay as they are."""
    return replace(_PRESETS[preset], exposure=look.exposure, lut=look.lut, lut_share=look.lut_share)


def look_preset_of(look: Look) -> LookPreset | None:
    """Return the preset that the look equals, None for the user's own."""
    return next((preset for preset in LookPreset if with_look_preset(look, preset) == look), None)
