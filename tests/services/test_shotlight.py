"""The light of one shot from measures alone: colours below 0 in linear light do no harm; what is uncertain is said to be."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from lapsebench.core.filmlight import LightSettings, film_light
from lapsebench.core.metering import COLS, ROWS, FrameMeasure
from lapsebench.core.sequence import Fault, Frame, Shot
from lapsebench.core.transfer import linear_to_srgb, srgb_table
from lapsebench.imaging.apply import apply_gain
from lapsebench.imaging.proxy import measure_frame
from lapsebench.services.shotlight import at_moves, light_of_shot

N = 24


def frames() -> list[Frame]:
    """One shutter change in the middle, of a stop."""
    return [Frame(Path(f"{i}.jpg"), exposure_s=8.0 if i < N // 2 else 4.0, f_number=2.8, iso=1600) for i in range(N)]


def measures() -> list[FrameMeasure]:
    """A textured ground under a shutter that flickers by 0.08 stop from frame to frame, nothing clipped."""
    random = np.random.default_rng(3)
    scene = 0.05 * 2 ** random.normal(0, 0.8, (ROWS, COLS, 3))
    received = np.where(np.arange(N) < N // 2, 0.0, -1.0) + np.where(np.arange(N) % 2, 0.04, -0.04)
    column = np.zeros((4, 3), np.uint8)
    return [
        FrameMeasure((scene * 2**ev).astype(np.float32), np.zeros((ROWS, COLS, 3), np.float32), column, b"")
        for ev in received
    ]


@pytest.mark.filterwarnings("error")
def test_tiles_below_zero_count_as_black() -> None:
    below, black = measures(), measures()
    for i in range(N):
        for night, factor in ((below, -0.3), (black, 0.0)):
            tiles = night[i].tiles.copy()
            tiles[:20, :, 0] *= factor
            night[i] = replace(night[i], tiles=tiles)
    shot = Shot(0, N - 1)
    found, wanted = (light_of_shot(shot, frames(), night) for night in (below, black))
    assert not found.faults
    assert at_moves(shot, frames(), below) == (shot,)
    np.testing.assert_allclose(found.light.received_ev, wanted.light.received_ev, atol=1e-9)
    assert np.isfinite(found.light.scene_ev).all()
    step = np.diff(found.light.received_ev)[N // 2 - 1]
    assert step == pytest.approx(-1.08, abs=0.03)


@pytest.mark.filterwarnings("error")
def test_a_night_wholly_below_zero_is_black_and_finite() -> None:
    night = [replace(measure, tiles=-measure.tiles) for measure in measures()]
    found = light_of_shot(Shot(0, N - 1), frames(), night)
    assert len(found.faults) == N
    assert np.isfinite(found.light.luminance_ev).all()
    assert np.isfinite(found.light.highlight_ev).all()


@pytest.mark.parametrize("power", [1.0, 1.3, 0.8])
def test_the_step_is_gone_from_the_pixels_whatever_the_cameras_curve(power: float) -> None:
    """A camera that records light^power: after the gains the frames' mean light no longer steps where the setting did."""
    random = np.random.default_rng(3)
    scene = np.clip(0.12 * 2 ** random.normal(0, 1.2, (ROWS * 2, COLS * 2, 3)), 0, 0.5)
    exposure = np.where(np.arange(40) // 10 % 2 == 0, 0.0, -1.0)
    stills = [
        np.rint(255 * linear_to_srgb(np.clip(scene * 2.0**ev + random.normal(0, 5e-4, scene.shape), 0, 1) ** power))
        for ev in exposure
    ]
    codes = [still.astype(np.uint8) for still in stills]
    frames = [Frame(Path(f"{i}.jpg"), None, 8.0 if ev == 0 else 4.0, 2.8, 1600.0) for i, ev in enumerate(exposure)]
    measures = [measure_frame(still, srgb_table(256)[still], srgb=True) for still in codes]
    found = light_of_shot(Shot(0, 39), frames, measures)
    film = film_light(found.light, LightSettings(), fps=25, good=np.ones(40, bool))
    shown = [
        srgb_table(256)[apply_gain(still, float(gain), found.responses)].mean()
        for still, gain in zip(codes, film.gain_ev, strict=True)
    ]
    steps = np.abs(np.diff(np.log2(shown)))
    print(f"power {power}: largest step in the film's light {steps.max():.3f} stop")
    assert steps.max() < 0.06
    told = np.abs(np.diff(found.light.received_ev)[[9, 19, 29]])
    assert told == pytest.approx(1.0, abs=0.06)  # a stop is told as one, though nothing but the marks tells the power


def restless(first: int, last: int) -> list[FrameMeasure]:
    """The measures of a sky that changes everywhere at random in some of its frames."""
    random = np.random.default_rng(5)
    night = measures()
    for i in range(first, last + 1):
        change = 2 ** random.normal(0, 0.6, (ROWS, COLS, 1))
        night[i] = replace(night[i], tiles=(night[i].tiles * change).astype(np.float32))
    return night


def test_frames_whose_exposure_is_uncertain_are_said_to_be() -> None:
    night = restless(8, 15)
    found = light_of_shot(Shot(0, N - 1), frames(), night)
    assert found.faults == dict.fromkeys(range(8, 16), frozenset({Fault.UNCERTAIN}))
    (note,) = found.notes
    most = 2 * found.light.error_ev[8:16].max()
    assert note.startswith(f"8 frames: exposure uncertain by up to {most:.2f} stop.")
    truth = np.where(np.arange(N) < N // 2, 0.0, -1.0) + np.where(np.arange(N) % 2, 0.04, -0.04)
    off = np.abs(np.diff(found.light.received_ev - truth))
    assert off.max() < 3 * np.sqrt(2) * found.light.error_ev.max()
    assert not light_of_shot(Shot(0, N - 1), frames(), measures()).notes


def test_a_spoilt_frame_is_not_called_uncertain_too() -> None:
    night = restless(8, 15)
    night[11] = replace(night[11], tiles=-night[11].tiles)
    members = frames()
    members[13] = replace(members[13], faults=frozenset({Fault.ODD_SIZE}))
    found = light_of_shot(Shot(0, N - 1), members, night)
    assert found.faults[11] == {Fault.BLACK}
    assert Fault.UNCERTAIN not in found.faults.get(13, frozenset())
    assert found.faults[9] == {Fault.UNCERTAIN}
