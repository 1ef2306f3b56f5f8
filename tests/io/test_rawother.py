"""RAW of sensors with four colours becomes light of the right colour and of the exposure's height, frame by frame alike."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from dng import Sensor, record, write_dng
from numpy.typing import NDArray

from lapsebench.core.balance import Balance, as_matrix, rgb_to_xyz
from lapsebench.core.mosaic import FullColour, development
from lapsebench.errors import FrameError
from lapsebench.io.raw import read_colour, read_raw

Floats = NDArray[np.float64]
RGB = np.array([[0.72, -0.22, -0.08], [-0.45, 1.27, 0.20], [-0.08, 0.19, 0.62]])
CMYG = Sensor(
    name="Velmar F4",
    pattern="GMCY",
    planes="GMCY",
    matrix=as_matrix(np.array([RGB[1], RGB[0] + RGB[2], RGB[1] + RGB[2], RGB[0] + RGB[1]]) * [[1], [0.6], [0.6], [0.6]]),
)
CHART = np.array([[0.2, 0.2, 0.2], [0.05, 0.25, 0.08], [0.2, 0.06, 0.08], [0.06, 0.08, 0.22], [0.2, 0.18, 0.05]])
SIDE = 48


def chart(gain: float = 1.0) -> Floats:
    """Return patches of linear BT.709 side by side, (SIDE, 5 * SIDE, 3)."""
    return np.repeat(np.repeat(CHART[None] * gain, SIDE, axis=0), SIDE, axis=1)


def light_of(path: Path) -> Floats:
    """Return the middle of each patch in linear BT.709 through the program's own processing, (5, 3)."""
    raw = read_raw(path)
    assert isinstance(raw, FullColour)
    told = read_colour(path)
    how = development(raw, Balance().for_camera(told.matrix, told.daylight))
    seen = (raw.codes.astype(float) - raw.black) * how.multipliers @ np.array(how.matrix).T / how.scale
    return np.stack([seen[12:-12, c * SIDE + 12 : (c + 1) * SIDE - 12].mean(axis=(0, 1)) for c in range(len(CHART))])


def test_colours_of_a_four_colour_sensor_come_out_right(tmp_path: Path) -> None:
    light = light_of(write_dng(tmp_path / "a.dng", record(chart(), CMYG), CMYG))
    light *= CHART[0].mean() / light[0].mean()
    assert light == pytest.approx(CHART, abs=0.004)


def test_a_frame_shot_a_stop_under_is_half_as_bright_whatever_it_shows(tmp_path: Path) -> None:
    full, under = (light_of(write_dng(tmp_path / f"{gain}.dng", record(chart(gain), CMYG), CMYG)) for gain in (1.0, 0.5))
    assert under * 2 == pytest.approx(full, rel=0.01)


def test_white_that_saturates_is_clipped(tmp_path: Path) -> None:
    bright = np.full((64, 64, 3), 0.05)
    bright[:16] = 3.0
    path = write_dng(tmp_path / "a.dng", record(bright, CMYG, random=np.random.default_rng(2)), CMYG)
    raw = read_raw(path)
    assert isinstance(raw, FullColour)
    assert (raw.codes[4:12] >= raw.clip).any(axis=-1).all()
    assert not (raw.codes[24:] >= raw.clip).any()


def test_a_file_with_rows_missing_is_refused(tmp_path: Path) -> None:
    codes = record(chart(), CMYG, random=np.random.default_rng(1))
    codes[SIDE // 2 :] = 0
    with pytest.raises(FrameError):
        read_raw(write_dng(tmp_path / "a.dng", codes, CMYG))


def test_its_white_is_that_of_daylight(tmp_path: Path) -> None:
    path = write_dng(tmp_path / "a.dng", record(np.full((64, 64, 3), 0.3), CMYG), CMYG)
    raw = read_raw(path)
    assert isinstance(raw, FullColour)
    white = rgb_to_xyz("BT.709").sum(axis=1)
    grey = raw.codes[16:-16, 16:-16].mean(axis=(0, 1))
    assert grey / grey[1] == pytest.approx(white, rel=0.01)
