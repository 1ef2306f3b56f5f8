"""Blown, black and stray-light frames are found; aurora, the moon and a steady lamp are not faults."""

from __future__ import annotations

import numpy as np
import pytest

from lapsebench.core.faults import HIGHLIGHT, Tiles, brightest, stray_light_frames

N, ROWS, COLS = 30, 20, 30


@pytest.fixture
def tiles() -> Tiles:
    """Return a calm night: dim ground, a green sky that wanders, a lamp that clips in every frame."""
    random = np.random.default_rng(5)
    rgb = np.full((N, ROWS, COLS, 3), 0.01, np.float32) * random.uniform(0.9, 1.1, (N, ROWS, COLS, 1)).astype(np.float32)
    for i in range(N):
        rgb[i, 2:8, (i * 2) % COLS] += (0.05, 0.3, 0.08)
    clipped = np.zeros_like(rgb)
    clipped[:, 15:18, 4:8] = 1.0
    return Tiles(rgb, clipped)


def test_a_calm_night_has_no_faults(tiles: Tiles) -> None:
    assert not tiles.blown.any()
    assert not tiles.black.any()
    assert not stray_light_frames(tiles, np.zeros(N), np.ones(N, bool)).any()


def test_blown_and_black_frames_are_found(tiles: Tiles) -> None:
    tiles.clipped[[12, 13], :10] = 1.0
    tiles.rgb[20] = 0.0001
    assert np.flatnonzero(tiles.blown).tolist() == [12, 13]
    assert np.flatnonzero(tiles.black).tolist() == [20]


@pytest.mark.parametrize(
    ("colour", "stray"), [((0.3, 0.25, 0.15), True), ((0.3, 0.3, 0.3), True), ((0.02, 0.3, 0.05), False)]
)
def test_warm_or_white_light_in_one_frame_is_stray_but_green_is_aurora(
    tiles: Tiles, colour: tuple[float, float, float], stray: bool
) -> None:
    tiles.rgb[10, 12:, 10:20] += np.array(colour, np.float32)
    found = stray_light_frames(tiles, np.zeros(N), np.ones(N, bool))
    assert np.flatnonzero(found).tolist() == ([10] if stray else [])


def test_a_change_of_setting_is_no_stray_light(tiles: Tiles) -> None:
    received = np.where(np.arange(N) < 15, 0.0, 2.0)
    lit = Tiles(tiles.rgb * np.exp2(received).astype(np.float32)[:, None, None, None], tiles.clipped)
    assert not stray_light_frames(lit, received, np.ones(N, bool)).any()


def test_colours_beyond_the_gamut_are_no_stray_light(tiles: Tiles) -> None:
    tiles.rgb[:, 2:10] = (-0.09, 0.0, 0.35)
    tiles.rgb[10, 2:10] = (0.0, 0.003, 0.36)  # a deep blue sky that is a little paler for once
    assert not stray_light_frames(tiles, np.zeros(N), np.ones(N, bool)).any()


def test_unreadable_frames_are_passed_over(tiles: Tiles) -> None:
    tiles.rgb[7] = np.nan
    tiles.clipped[7] = np.nan
    assert not tiles.blown[7]
    assert not tiles.black[7]


def test_scattered_specks_are_no_stray_light(tiles: Tiles) -> None:
    specks = np.random.default_rng(7).uniform(size=(ROWS, COLS)) < 0.05
    tiles.rgb[10][specks] += np.array((0.3, 0.25, 0.15), np.float32)
    assert not stray_light_frames(tiles, np.zeros(N), np.ones(N, bool)).any()


@pytest.mark.parametrize("size", [1, 2, 100, 101, 8256])
def test_the_brightest_parts_are_numpys_quantile(size: int) -> None:
    values = np.random.default_rng(size).random((5, size)).astype(np.float32)
    values[2] = np.nan
    np.testing.assert_allclose(brightest(values), np.quantile(values.astype(float), HIGHLIGHT, axis=1), rtol=1e-6)


def test_pale_rays_that_run_over_a_lively_sky_are_no_stray_light_but_a_lamp_among_them_is(tiles: Tiles) -> None:
    """Lower borders of aurora are pinkish white, and a ray that runs is in no other frame where it is."""
    for i in range(N):
        left = (7 * i) % (COLS - 4)
        tiles.rgb[i, 2:10, left : left + 3] += np.array((0.25, 0.3, 0.2), np.float32)
    assert not stray_light_frames(tiles, np.zeros(N), np.ones(N, bool)).any()
    tiles.rgb[15, 8:, 2:22] += np.array((0.9, 0.8, 0.5), np.float32)
    assert np.flatnonzero(stray_light_frames(tiles, np.zeros(N), np.ones(N, bool))).tolist() == [15]
