"""The words of the look: names of its sliders, their values, and the looks that have a name."""

from __future__ import annotations

from PySide6.QtCore import QObject

from lapsebench.core.look import Look, LookPreset, look_preset_of


class LookWords(QObject):
    """Says what a look's fields and presets are called."""

    def name(self, field: str) -> str:
        """Return the name of a slider."""
        return {
            "warmth": self.tr("Warmth"),
            "tint": self.tr("Green or magenta"),
            "saturation": self.tr("Colour strength"),
            "exposure": self.tr("Brightness"),
            "contrast": self.tr("Contrast"),
            "highlights": self.tr("Soft whites"),
            "shadows": self.tr("Dark parts"),
            "noise": self.tr("Noise"),
            "star_care": self.tr("Stars"),
            "sharpen": self.tr("Sharpness"),
            "lut_share": self.tr("Strength of the table"),
        }[field]

    def hint(self, field: str) -> str:
        """Return what more there is to say of a slider, nothing of some."""
        raw = self.tr("Of RAW shots better set the white balance above: it works on the sensor's own colours.")
        return {
            "warmth": raw,
            "tint": raw,
            "contrast": self.tr("Light and dark further apart, about the mid grey of a night"),
            "highlights": self.tr("How softly the brightest light runs into white"),
            "shadows": self.tr("The darkest parts opened or closed; black stays black"),
            "noise": self.tr("How much noise is taken out; stars are kept"),
            "star_care": self.tr("The light of stars and other points"),
        }.get(field, "")

    def back(self) -> str:
        """Return how a slider is put back."""
        return self.tr("Double-click the name to put it back.")

    def value(self, field: str, value: float) -> str:
        """Return a slider's value, such as `20 warmer`."""
        if field == "exposure":
            return self.tr("{0} stop").format(f"{value:+.1f}".replace("-", "−") if value else "0")
        if field == "lut_share":
            return self.tr("{0} %").format(f"{value:.0f}")
        if field == "saturation" and value == -100:
            return self.tr("all grey")
        more, less = {
            "warmth": (self.tr("{0} warmer"), self.tr("{0} colder")),
            "tint": (self.tr("{0} to magenta"), self.tr("{0} to green")),
            "highlights": (self.tr("{0} softer"), ""),
            "shadows": (self.tr("{0} lighter"), self.tr("{0} darker")),
            "noise": (self.tr("{0} taken out"), ""),
            "star_care": (self.tr("{0} brighter"), self.tr("{0} fainter")),
        }.get(field, (self.tr("{0} more"), self.tr("{0} less")))
        return (more if value > 0 else less).format(f"{abs(value):.0f}") if value else "0"

    def preset(self, preset: LookPreset | None) -> str:
        """Return the name of a look, None is plain."""
        return {
            None: self.tr("Plain"),
            LookPreset.NATURAL_NIGHT: self.tr("Natural night"),
            LookPreset.CLEAR_STARS: self.tr("Clear stars"),
            LookPreset.SOFT_GLOW: self.tr("Soft glow"),
        }[preset]

    def preset_hint(self, preset: LookPreset | None) -> str:
        """Return what a look by name is like."""
        return {
            None: self.tr("Nothing is changed"),
            LookPreset.NATURAL_NIGHT: self.tr("What the eye expects, a little clearer than flat"),
            LookPreset.CLEAR_STARS: self.tr("A dark, cool sky whose stars stand out"),
            LookPreset.SOFT_GLOW: self.tr("Quiet northern lights over an opened landscape"),
        }[preset]

    def look(self, look: Look) -> str:
        """Return what a whole look is called: its name, or that it is the user's own."""
        preset = look_preset_of(look)
        return self.tr("Own") if preset is None and not look.is_plain else self.preset(preset)
