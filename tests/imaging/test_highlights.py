"""Saturated channels rebuilt: aurora stays green, lamps stay white, and nothing turns magenta."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from dng import Sensor, read_mosaic, record, write_dng
from numpy.typing import NDArray

from lapsebench.core.mosaic import Development, Mosaic, development
from lapsebench.core.transfer import luminance
from lapsebench.imaging.develop import Demosaic, full_size

AURORA = np.array([0.12, 1.0, 0.3])
XTRANS = "GBGGRG" + "RGRBGB" + "GBGGRG" + "GRGGBG" + "BGBRGR" + "GRGGBG"
WAYS: list[Demosaic] = ["fast", "fine"]


def hue(rgb: NDArray[Any]) -> NDArray[np.float64]:
    """Return the hue angle in degrees."""
    across, along = np.sqrt(0.75) * (rgb[..., 1] - rgb[..., 2]), rgb[..., 0] - rgb[..., 1:].mean(axis=-1)
    return np.asarray(np.degrees(np.arctan2(across, along)))


def taken(path: Path, light: NDArray[Any], sensor: Sensor) -> Mosaic:
    return read_mosaic(write_dng(path / "a.dng", record(light, sensor, random=np.random.default_rng(0)), sensor))


def shot_of(mosaic: Mosaic) -> Development:
    assert mosaic.as_shot is not None
    return development(mosaic, mosaic.as_shot)


@pytest.mark.parametrize("pattern", ["RGGB", "GBRG", XTRANS])
@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("peak", [2.0, 3.5, 6.0])
def test_bright_aurora_stays_green(tmp_path: Path, peak: float, way: Demosaic, pattern: str) -> None:
    y = np.arange(400)[:, None]
    band = np.exp(-(((y - 200) / 50) ** 2)) * peak
    light = np.repeat(band[..., None] * AURORA + [0.004, 0.006, 0.008], 300, axis=1)
    mosaic = taken(tmp_path, light, Sensor(pattern=pattern))
    developed = full_size(mosaic, shot_of(mosaic), demosaic=way)
    rows = developed.mean(axis=1, dtype=float)
    bright = band[:, 0] > 0.3
    assert np.abs(hue(rows) - hue(light[:, 0]))[bright].max() < 3
    brightness = luminance(rows)
    steps = np.diff(brightness.reshape(-1, 4).mean(axis=1))
    assert (steps[30:49] > 0).all()
    assert (steps[50:69] < 0).all()
    np.testing.assert_allclose(brightness[bright], luminance(light[:, 0])[bright], rtol=0.05)
    magenta = (developed[..., 0] > developed[..., 1]) & (developed[..., 2] > developed[..., 1])
    assert not magenta[band[:, 0] > 0.05].any()


@pytest.mark.parametrize("way", WAYS)
def test_a_white_lamp_stays_white(tmp_path: Path, way: Demosaic) -> None:
    y, x = np.mgrid[0:300, 0:300]
    lamp = 20 * np.exp(-((y - 150) ** 2 + (x - 150) ** 2) / 450)
    light = lamp[..., None] + np.array([0.004, 0.007, 0.01])
    mosaic = taken(tmp_path, light, Sensor())
    developed = full_size(mosaic, shot_of(mosaic), demosaic=way)
    core = developed[lamp > 4]
    np.testing.assert_allclose(core / core.mean(axis=1, keepdims=True), 1, atol=0.02)
    assert core.min() > 1
    rim = developed[(lamp > 0.5) & (lamp < 4)]
    assert np.abs(rim / rim.mean(axis=1, keepdims=True) - 1).mean() < 0.06


def test_without_rebuilding_the_same_band_turns_away_from_green(tmp_path: Path) -> None:
    y = np.arange(400)[:, None]
    light = np.repeat((np.exp(-(((y - 200) / 50) ** 2)) * 6)[..., None] * AURORA, 100, axis=1)
    mosaic = taken(tmp_path, light, Sensor())
    plain = full_size(mosaic, shot_of(mosaic), highlights=False)[200].mean(axis=0)
    assert plain[0] > plain[1]


def test_a_frame_without_saturation_is_left_as_it_is(tmp_path: Path) -> None:
    light = np.random.default_rng(0).uniform(0.1, 0.5, (100, 120, 3))
    mosaic = taken(tmp_path, light, Sensor())
    shot = shot_of(mosaic)
    np.testing.assert_array_equal(full_size(mosaic, shot), full_size(mosaic, shot, highlights=False))


def test_a_blown_frame_is_white(tmp_path: Path) -> None:
    mosaic = taken(tmp_path, np.full((100, 120, 3), 50.0), Sensor())
    developed = full_size(mosaic, shot_of(mosaic))
    np.testing.assert_allclose(developed / developed.mean(axis=2, keepdims=True), 1, atol=0.01)
    assert developed.min() >= 0.99
