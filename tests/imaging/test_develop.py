"""Developed RAW frames: proportional to the light, unbiased in the dark, the same sums for every frame."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from dng import Sensor, read_mosaic, record, write_dng
from numpy.typing import NDArray

from lapsebench.core.mosaic import Mosaic, development
from lapsebench.imaging.develop import Demosaic, full_size, half_size

XTRANS = "GBGGRG" + "RGRBGB" + "GBGGRG" + "GRGGBG" + "BGBRGR" + "GRGGBG"
PATTERNS = ["RGGB", "GRBG", "GBRG", "BGGR", XTRANS]
PLAIN = Sensor()
WAYS: list[Demosaic] = ["fast", "fine"]


@pytest.fixture
def shoot(tmp_path: Path) -> Any:
    """Return a maker of mosaics: `shoot(light, sensor, seed=, gain=, **tags)`; without a seed they have no noise."""

    def made(
        light: NDArray[Any], sensor: Sensor = PLAIN, *, seed: int | None = None, gain: float = 1.0, **tags: Any
    ) -> Mosaic:
        random = None if seed is None else np.random.default_rng(seed)
        return read_mosaic(write_dng(tmp_path / "a.dng", record(light, sensor, random=random, gain=gain), sensor, **tags))

    return made


def mean(light: NDArray[Any]) -> NDArray[np.float64]:
    return np.asarray(light.mean(axis=(0, 1), dtype=float))


def scene(height: int = 240, width: int = 360) -> NDArray[np.float64]:
    """Return smooth light of several colours within 0.02..0.5."""
    y, x = np.mgrid[0:height, 0:width]
    waves = [np.sin(x / 23 + phase) * np.cos(y / 31 - phase) for phase in (0.0, 1.0, 2.0)]
    return 0.26 + 0.24 * np.stack(waves, axis=-1)


@pytest.mark.parametrize("black", [(512,), (500, 512, 520, 530)], ids=["one black", "black a place"])
@pytest.mark.parametrize("pattern", PATTERNS)
def test_the_light_of_the_scene_comes_back(shoot: Any, pattern: str, black: tuple[float, ...]) -> None:
    light = scene()
    mosaic = shoot(light, Sensor(pattern=pattern, black=black))
    shot = development(mosaic, mosaic.as_shot)
    side = 3 if pattern == XTRANS else 2
    blocks = light.reshape(light.shape[0] // side, side, -1, side, 3).mean(axis=(1, 3))
    half, clipped = half_size(mosaic, shot)
    assert half.shape == blocks.shape
    assert not clipped.any()
    np.testing.assert_allclose(half, blocks, atol=0.02)  # the colours of a block are a photosite apart
    np.testing.assert_allclose(mean(half), mean(blocks), rtol=2e-3)
    for way in WAYS:
        full = full_size(mosaic, shot, demosaic=way)
        assert full.shape == light.shape
        np.testing.assert_allclose(full[6:-6, 6:-6], light[6:-6, 6:-6], atol=0.02)
        np.testing.assert_allclose(full, light, atol=0.06)  # edges have neighbours on one side only
        np.testing.assert_allclose(mean(full), mean(light), rtol=1e-3)


@pytest.mark.parametrize("pattern", ["RGGB", XTRANS])
def test_the_dark_is_unbiased(shoot: Any, pattern: str) -> None:
    sensor = Sensor(pattern=pattern, full_well=8000, read_noise=5)
    light = np.full((600, 600, 3), 2e-4)
    mosaic = shoot(light, sensor, seed=1)
    shot = development(mosaic, mosaic.as_shot)
    for developed in (half_size(mosaic, shot)[0], *(full_size(mosaic, shot, demosaic=way) for way in WAYS)):
        assert developed.min() < 0  # noise below black is kept
        spread = 3 * developed.std(axis=(0, 1), dtype=float) / np.sqrt(mosaic.codes.size / 4) + 1e-5
        assert (np.abs(mean(developed) - 2e-4) < 3 * spread).all()


def test_a_frame_two_stops_under_equals_its_neighbour_after_a_gain(shoot: Any) -> None:
    light = scene() * 3
    bright, under = shoot(light, seed=1), shoot(light, seed=2, gain=0.25)
    shot = development(bright, bright.as_shot)
    a, clipped = half_size(bright, shot)
    b, clipped_under = half_size(under, shot)
    sound = ~clipped.any(axis=2)
    assert not clipped_under.any()
    np.testing.assert_allclose(mean(4 * b[sound][None]), mean(a[sound][None]), rtol=2e-3)
    assert np.abs(4 * b - a)[sound].mean() < 0.02
    assert (4 * b).max() > 1.2  # its headroom is there
    inside = np.repeat(np.repeat(sound, 2, axis=0), 2, axis=1)
    for way in WAYS:
        a, b = (full_size(mosaic, shot, demosaic=way)[inside][None] for mosaic in (bright, under))
        np.testing.assert_allclose(mean(4 * b), mean(a), rtol=0.01)


def test_white_is_where_neutral_light_first_saturates(shoot: Any) -> None:
    ramp = np.linspace(0.5, 1.3, 400)
    mosaic = shoot(np.tile(ramp[None, :, None], (60, 1, 3)))
    shot = development(mosaic, mosaic.as_shot)
    light, clipped = half_size(mosaic, shot)
    pairs = ramp.reshape(-1, 2)
    np.testing.assert_array_equal(clipped[10, :, 1], pairs[:, 1] >= 1 - 1e-4)  # any photosite of the block
    assert not clipped[..., [0, 2]].any()
    below = ~clipped[10].any(axis=1)
    np.testing.assert_allclose(light[10][below], np.tile(pairs.mean(axis=1)[below, None], (1, 3)), atol=0.01)


def test_baseline_exposure_counts_between_frames_of_a_shot(shoot: Any) -> None:
    plain, raised = shoot(scene(), baseline_ev=0.0), shoot(scene(), baseline_ev=0.5)
    shot = development(plain, plain.as_shot)
    first, second = half_size(plain, shot)[0], half_size(raised, shot)[0]
    np.testing.assert_allclose(second, first * np.float32(2**0.5), rtol=1e-4, atol=1e-5)
    for way in WAYS:
        first, second = (full_size(mosaic, shot, demosaic=way) for mosaic in (plain, raised))
        np.testing.assert_allclose(second, first * np.float32(2**0.5), rtol=1e-4, atol=1e-5)


def test_a_balance_moves_the_channels_by_its_ratio(shoot: Any) -> None:
    mosaic = shoot(np.full((80, 80, 3), 0.2) + 0.001 * scene(80, 80))
    shot = development(mosaic, mosaic.as_shot)
    identity = replace(shot, matrix=((1.0, 0, 0), (0, 1.0, 0), (0, 0, 1.0)))
    red, green, blue = shot.multipliers
    warmer = replace(identity, multipliers=(red * 1.3, green, blue * 0.8))
    np.testing.assert_allclose(
        mean(half_size(mosaic, warmer)[0]) / mean(half_size(mosaic, identity)[0]), (1.3, 1, 0.8), rtol=1e-4
    )


def test_wider_primaries_hold_the_same_light(shoot: Any) -> None:
    mosaic = shoot(scene())
    narrow, wide = (half_size(mosaic, development(mosaic, mosaic.as_shot, to))[0] for to in ("BT.709", "BT.2020"))
    # Rec. ITU-R BT.2087-0, table 1: linear BT.709 to BT.2020
    matrix = np.array([[0.6274, 0.3293, 0.0433], [0.0691, 0.9195, 0.0114], [0.0164, 0.0880, 0.8956]])
    np.testing.assert_allclose(wide, narrow @ matrix.T, atol=2e-4)


@pytest.mark.parametrize("pattern", ["RGGB", XTRANS])
@pytest.mark.parametrize("way", WAYS)
def test_bands_leave_no_seams(shoot: Any, monkeypatch: pytest.MonkeyPatch, pattern: str, way: Demosaic) -> None:
    light = scene(500, 120) + np.random.default_rng(0).uniform(0, 0.3, (500, 120, 1))
    mosaic = shoot(light * 2, Sensor(pattern=pattern), seed=3)
    shot = development(mosaic, mosaic.as_shot)
    monkeypatch.setattr("lapsebench.imaging.develop._BAND_ROWS", {"fast": 1000, "fine": 1000})
    whole = full_size(mosaic, shot, demosaic=way)
    monkeypatch.setattr("lapsebench.imaging.develop._BAND_ROWS", {"fast": 50, "fine": 120})
    np.testing.assert_allclose(full_size(mosaic, shot, demosaic=way), whole, atol=1e-5)


def test_an_upright_frame_shows_the_same_picture(shoot: Any) -> None:
    light = scene(240, 362)
    level, turned = shoot(light), shoot(np.rot90(light), orientation=6)
    shot = development(level, level.as_shot)
    np.testing.assert_allclose(full_size(turned, shot), full_size(level, shot), atol=0.02)
    np.testing.assert_allclose(half_size(turned, shot)[0], half_size(level, shot)[0], atol=0.02)


def test_impossible_multipliers_are_refused(shoot: Any) -> None:
    mosaic = shoot(scene())
    with pytest.raises(ValueError, match="positive"):
        development(mosaic, (0.0, 1.0, 1.0))
