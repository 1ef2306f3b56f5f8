"""What each preset does to a night of its kind, and that it is told apart from the user's own settings."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from lapsebench.core.filmlight import LightSettings, Peg, film_light
from lapsebench.core.presets import Preset, preset_of, with_preset
from lapsebench.core.separation import Light

N = 1000
PLACE = np.arange(N) / N
Floats = NDArray[np.float64]


def film_ev(scene: Floats, preset: Preset) -> Floats:
    """Return the film light of a scene that was shot in clicks of a third of a stop that follow it."""
    received = -np.round(3 * (scene - scene.mean())) / 3
    nothing, levels = np.zeros(N), {"scene_ev": scene - 5, "luminance_ev": scene + received - 5}
    known = levels | {"received_ev": received, "exposure_ev": received, "highlight_ev": scene + received - 2.5}
    light = Light(*(known.get(name, nothing) for name in Light.__slots__))
    return film_light(light, with_preset(LightSettings(), preset), fps=25, good=np.ones(N, bool)).film_ev


def test_a_quiet_arc_stays_even_in_a_steady_night() -> None:
    arc = 0.5 * np.sin(2 * np.pi * 2.3 * PLACE) + 0.25 * np.sin(2 * np.pi * 5 * PLACE)
    assert np.ptp(arc) > 1.3
    assert np.ptp(film_ev(arc, Preset.STEADY)) < 0.3


def test_the_rise_of_a_break_up_stays() -> None:
    up = np.clip((np.arange(N) - 350) / 16, 0, 1)
    scene = 5.5 * up * (1 - 0.8 * np.clip((np.arange(N) - 380) / 400, 0, 1))
    film = film_ev(scene, Preset.BREAK_UP)
    assert film[372] - film[340] > 4.5
    assert film.max() < -0.5, "the brightest frames are held under white"


def test_dusk_darkens_a_little_and_what_is_fast_stays_whole() -> None:
    flicker = 0.3 * np.sin(2 * np.pi * 60 * PLACE) * (PLACE > 0.6)
    film = film_ev(9.5 * (1 - PLACE) ** 1.4 + flicker, Preset.DUSK)
    assert 0.4 < film[20] - film[-20] < 2.5
    fast = film - np.convolve(film, np.ones(17) / 17, "same")
    assert np.ptp(fast[700:900]) == pytest.approx(0.6, abs=0.08)


@pytest.mark.parametrize("preset", Preset)
def test_a_preset_is_known_by_its_settings_alone(preset: Preset) -> None:
    own = LightSettings(brightness_ev=0.4, flicker=False, pegs=(Peg(3, -4.0),))
    assert preset_of(own) is None
    chosen = with_preset(own, preset)
    assert preset_of(chosen) is preset
    assert (chosen.brightness_ev, chosen.flicker, chosen.pegs) == (0.4, False, own.pegs)
    assert preset_of(LightSettings()) is None
