"""Film light: the luminance each frame shall have in the film, and so the gain it gets."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from lapsebench.core.gains import GainEv, plain_gain
from lapsebench.core.separation import Light
from lapsebench.core.smoothing import lambda_for_period, whittaker

Floats = NDArray[np.float64]


HIGHLIGHT_LIMIT_EV = 1.0
"""The brightest parts may be gained to this many stops over white; the roll-off bends them back under it."""
_LOOSE = 0.02
_LONGEST_RAMP = 3000.0  # frames: longer ones are as good as straight, and beyond the precision of the solve


@dataclass(frozen=True, slots=True)
class Peg:
    """A frame (number in the project) whose film light (stops) the user sets by hand."""

    frame: int
    film_ev: float


@dataclass(frozen=True, slots=True)
class LightSettings:
    """How the light is evened.

    `sky_kept`: share 0..1 of slow scene change that reaches the film. `ramp_s`: seconds of film over which the virtual
    exposure may turn. `flicker`: take out frame-to-frame flicker of the camera. `even`: off leaves the frames as shot.
    `colour`: take out white balance that wandered, where the light is evened at all.
    `brightness_ev`: stops added to the whole film.
    """

    sky_kept: float = 0.6
    ramp_s: float = 4.0
    flicker: bool = True
    even: bool = True
    brightness_ev: float = 0.0
    pegs: tuple[Peg, ...] = ()
    colour: bool = False


@dataclass(frozen=True, slots=True)
class FilmLight:
    """Per frame, shape (n,), stops: `film_ev`, `gain_ev` applied, `virtual_ev` = received + gain. NaN where unknown.

    `colour_ev`: (n, 3) stops that R, G and B get on top of the gain; None where colour is left as it is.
    """

    film_ev: Floats
    gain_ev: Floats
    virtual_ev: Floats
    colour_ev: Floats | None = None

    def gains_of(self, frame: int) -> GainEv:
        """Return the stops that a frame gets in the film, one or of R, G and B; 0 where they are not known."""
        gain = float(self.gain_ev[frame])
        if self.colour_ev is None or not np.isfinite(gain):
            return plain_gain(gain)
        red, green, blue = (float(colour) for colour in self.colour_ev[frame])
        return plain_gain((gain + red, gain + green, gain + blue))


def film_light(light: Light, settings: LightSettings, *, fps: float, good: NDArray[np.bool_]) -> FilmLight:
    """Return the film light of one shot.

    `good` marks the frames that may bend the curve. The virtual exposure is
    base + (sky_kept - 1) * slow(scene), held back smoothly where a bright display would turn into flat white; film light is
    scene + virtual, so fast sky changes stay whole. Pegs come last and are met.
    """
    n = light.scene_ev.size
    if not settings.even:
        gain = np.full(n, settings.brightness_ev)
        return FilmLight(light.luminance_ev + gain, gain, light.received_ev + gain)
    known = good & np.isfinite(light.scene_ev)
    if not known.any():
        gain = np.zeros(n)
        return FilmLight(light.luminance_ev + gain, gain, light.received_ev + gain)
    ramp = min(max(settings.ramp_s * fps, 1.0), _LONGEST_RAMP)
    lam = lambda_for_period(2 * ramp)
    slow = whittaker(light.scene_ev, lam, weights=known.astype(float))
    virtual = (settings.sky_kept - 1.0) * slow
    received = light.received_ev if settings.flicker else light.received_ev - np.nan_to_num(light.flicker_ev)
    virtual += np.mean((received - virtual)[known]) + settings.brightness_ev
    virtual -= _held_back(np.where(known, light.highlight_ev + virtual - received, -np.inf), lam)
    virtual += _peg_bend(light.scene_ev + virtual, settings.pegs, ramp)
    gain = virtual - received
    return FilmLight(light.luminance_ev + gain, gain, light.received_ev + gain)


def _held_back(highlight_ev: Floats, lam: float) -> Floats:
    """Return the stops to take off, shape (n,): a smooth curve over what `highlight_ev` in the film exceeds the limit by.

    Asymmetric least squares (Eilers 2003): the curve clings to the excess from above and falls off freely beside it.
    """
    excess = np.maximum(highlight_ev - HIGHLIGHT_LIMIT_EV, 0.0)
    if not excess.any():
        return excess
    curve = excess
    for _ in range(12):
        curve = whittaker(excess, lam * _LOOSE, weights=np.where(excess > curve, 1.0, _LOOSE))
    return np.maximum(curve, 0.0)


def _peg_bend(film_ev: Floats, pegs: tuple[Peg, ...], reach: float) -> Floats:
    """Return the smooth curve (stops) that brings `film_ev` to every peg and fades to nothing `reach` frames from them.

    A monotone cubic between the pegs (Fritsch & Carlson 1980): it never leaves the range of the pegs' own offsets.
    """
    n = film_ev.size
    offsets = {peg.frame: peg.film_ev - float(film_ev[peg.frame]) for peg in pegs if 0 <= peg.frame < n}
    offsets = {frame: offset for frame, offset in sorted(offsets.items()) if np.isfinite(offset)}
    if not offsets:
        return np.zeros(n)
    places, values = np.array(list(offsets), dtype=float), np.array(list(offsets.values()))
    far = np.flatnonzero(np.diff(places) > 2 * reach)
    outside = [places[0] - 2 * reach, places[0] - reach, places[-1] + reach, places[-1] + 2 * reach]
    zeros = np.concatenate([outside, places[far] + reach, places[far + 1] - reach])
    knots, heights = np.concatenate([places, zeros]), np.concatenate([values, np.zeros(zeros.size)])
    order = np.argsort(knots)
    bend = PchipInterpolator(knots[order], heights[order], extrapolate=False)(np.arange(n))
    return np.nan_to_num(bend)
