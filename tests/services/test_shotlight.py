"""The light of one shot from measures alone: colours that reach below 0 in linear light do it no harm."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from lapsebench.core.metering import COLS, ROWS, FrameMeasure
from lapsebench.core.sequence import Frame, Shot
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
