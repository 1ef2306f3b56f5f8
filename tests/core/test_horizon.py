"""The horizon of made-up nights whose ground is known: how near it is found, and that none is found where there is none."""

from __future__ import annotations

import time

import cv2
import numpy as np
import pytest
from nights import night as shooting
from nights.families import FAMILIES, Family
from nights.ground import Ground, random_ground
from nights.program import decoded
from nights.realframes import real_scenes
from nights.waves import Image, Random
from numpy.typing import NDArray

from lapsebench.core.horizon import find_horizon
from lapsebench.core.metering import COLS, ROWS
from lapsebench.imaging.proxy import tile_means

MOST_ERROR = {
    "quiet arc": 2.0,
    "break-up": 2.0,
    "drifting clouds": 2.0,
    "dusk to night": 3.0,
    "moonrise": 2.0,
    "pulsating patches": 2.0,
    "S-shaped, break-up": 2.0,
    "almost all ground": 4.0,
}
"""Tiles, mean over the columns. Where nearly all is ground, the made-up skyline jumps by many tiles between columns."""
DARK_GROUND = 0.01


def shot(family: Family, seed: int, monkeypatch: pytest.MonkeyPatch) -> tuple[NDArray[np.float32], Image]:
    """Return the tiles of a night, (n, rows, cols, 3), and how much of each tile is ground."""
    grounds: list[Ground] = []

    def kept(random: Random, share: float) -> Ground:
        grounds.append(random_ground(random, share))
        return grounds[-1]

    monkeypatch.setattr(shooting, "random_ground", kept)
    night = shooting.shoot_night(family, seed)
    tiles = np.stack([tile_means(decoded(codes).astype(np.float32), ROWS, COLS) for codes in night.codes])
    return tiles, cv2.resize(grounds[-1].cover, (COLS, ROWS), interpolation=cv2.INTER_AREA).astype(np.float32)


def error(tiles: NDArray[np.float32], cover: Image) -> float:
    """Return the mean distance of the horizon found from the true one, tiles; infinite where none is found."""
    horizon = find_horizon(tiles, np.ones(len(tiles), bool))
    if horizon is None:
        return np.inf
    return float(np.abs(np.array(horizon.skyline) * ROWS - (ROWS - cover.sum(axis=0))).mean())


@pytest.mark.parametrize("name", MOST_ERROR)
@pytest.mark.parametrize("seed", [0, 11])
def test_the_ground_begins_where_it_does(name: str, seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    tiles, cover = shot(FAMILIES[name], seed, monkeypatch)
    found = error(tiles, cover)
    print(f"{name}, night {seed}: {found:.2f} tiles")
    assert found < MOST_ERROR[name]


@pytest.mark.parametrize("name", ["no ground in view", "real colour aurora", "real substorm"])
def test_a_sky_alone_has_none(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    try:
        tiles = (
            shot(FAMILIES[name], 3, monkeypatch)[0]
            if not FAMILIES[name].real
            else np.stack([tile_means(scene, ROWS, COLS) for scene in real_scenes(FAMILIES[name].real, 100)])
        )
    except FileNotFoundError as error:
        pytest.skip(str(error))
    assert find_horizon(tiles, np.ones(len(tiles), bool)) is None


@pytest.mark.parametrize("name", ["quiet arc", "break-up", "dusk to night"])
def test_ground_alone_and_sky_alone_of_a_night_have_none(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    tiles, cover = shot(FAMILIES[name], 5, monkeypatch)
    ground_rows, sky_rows = (cover > 0.99).all(axis=1), (cover < 0.01).all(axis=1)
    for rows in (ground_rows, sky_rows):
        assert rows.sum() >= 4
        assert find_horizon(tiles[:, rows], np.ones(len(tiles), bool)) is None


@pytest.mark.parametrize("name", ["break-up", "drifting clouds", "pulsating patches"])
def test_a_ground_too_dark_for_detail_is_told_by_its_edge(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    tiles, cover = shot(FAMILIES[name], 1, monkeypatch)
    noise = np.random.default_rng(2).normal(3e-4, 2e-4, tiles.shape)
    covered = cover[..., None]
    dark = tiles * (1 - covered) + (tiles * DARK_GROUND + noise) * covered
    assert error(dark.astype(np.float32), cover) < 1.5


def test_too_few_frames_tell_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    tiles, _ = shot(FAMILIES["quiet arc"], 0, monkeypatch)
    usable = np.zeros(len(tiles), bool)
    assert find_horizon(tiles, usable) is None
    usable[::20] = True
    assert find_horizon(tiles, usable) is None


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("grid", [(ROWS, COLS), (COLS, ROWS), (1, 1), (2, 90)])
def test_noise_black_and_odd_grids_have_no_horizon(grid: tuple[int, int]) -> None:
    random = np.random.default_rng(1)
    for tiles in (random.uniform(0, 1, (40, *grid, 3)), np.zeros((40, *grid, 3)), -random.uniform(0, 1, (40, *grid, 3))):
        assert find_horizon(tiles.astype(np.float32), np.ones(40, bool)) is None


def test_five_thousand_frames_take_no_time_to_speak_of(monkeypatch: pytest.MonkeyPatch) -> None:
    tiles, _ = shot(FAMILIES["break-up"], 0, monkeypatch)
    many = tiles[np.arange(5000) % len(tiles)]
    taken = []
    for _ in range(5):
        start = time.thread_time()
        find_horizon(many, np.ones(5000, bool))
        taken.append(time.thread_time() - start)
    print(f"horizon of 5,000 frames: {1e3 * min(taken):.0f} ms")
    assert min(taken) < 0.25
