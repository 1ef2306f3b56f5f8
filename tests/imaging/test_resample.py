"""Resampling to the film's pixels: stars keep their light and have no ring, and a slow pan is even."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.ndimage import affine_transform

from lapsebench.core.view import Aim, Patch, patch_of
from lapsebench.imaging.resample import resampled

Floats = NDArray[np.float32]
SKY = 0.02


def star(x: float, y: float, size: tuple[int, int] = (240, 160), sd: float = 0.6) -> Floats:
    """Return a sky with one star, (h, w, 3); its light is the same wherever it is."""
    rows, cols = np.mgrid[0 : size[1], 0 : size[0]]
    bump = np.exp(-((cols + 0.5 - x) ** 2 + (rows + 0.5 - y) ** 2) / (2 * sd**2))
    return np.repeat((SKY + bump / bump.sum())[..., None], 3, axis=2).astype(np.float32)


@settings(max_examples=40, deadline=None)
@given(st.floats(60, 180), st.floats(50, 110), st.floats(1.0, 5.0), st.floats(-8, 8))
def test_a_star_keeps_its_light_and_has_no_ring(x: float, y: float, down: float, turn: float) -> None:
    film = (round(200 / down), round(120 / down))
    patch = Patch(120, 80, film[0] * down, film[1] * down, turn)
    seen = resampled(star(x, y), patch, film)[..., 1]
    assert (seen - SKY).sum() * down**2 == pytest.approx(1.0, rel=0.02)
    assert seen.min() >= SKY * (1 - 1e-5)


@given(st.floats(0.2, 5.0), st.floats(-10, 10))
@settings(max_examples=30, deadline=None)
def test_an_even_sky_stays_even(step: float, turn: float) -> None:
    light = np.full((160, 240, 3), 0.3, np.float32)
    film = (max(2, round(100 / step)), max(2, round(60 / step)))
    np.testing.assert_allclose(resampled(light, Patch(120, 80, 100, 60, turn), film), 0.3, rtol=1e-5)


def test_pixels_that_need_not_be_moved_are_not_changed() -> None:
    light = np.random.default_rng(0).random((40, 60, 3)).astype(np.float32)
    np.testing.assert_array_equal(resampled(light, Patch(30, 20, 40, 20), (40, 20)), light[10:30, 10:50])


def test_a_slow_pan_moves_a_star_evenly() -> None:
    """The centroid of a star goes on by the same part of a pixel every frame: nothing jumps from pixel to pixel."""
    light = star(120.0, 80.0)
    centres = []
    for k in range(41):
        seen = resampled(light, Patch(120 - 0.07 * k, 80, 120, 80), (60, 40))[..., 0] - SKY
        centres.append((seen.sum(axis=0) @ (np.arange(60) + 0.5)) / seen.sum())
    steps = np.diff(centres)
    assert steps == pytest.approx(np.full(40, 0.035), abs=0.003)


def test_means_are_those_of_what_a_pixel_covers() -> None:
    light = np.random.default_rng(1).random((90, 120, 3)).astype(np.float32)
    seen = resampled(light, Patch(60, 45, 120, 90), (40, 30))
    np.testing.assert_allclose(seen, light.reshape(30, 3, 40, 3, 3).mean(axis=(1, 3)), rtol=1e-5)


@pytest.mark.parametrize("turn", [-7.0, 0.0, 3.0])
@pytest.mark.parametrize("up", [1.0, 1.7])
def test_turning_and_enlarging_are_as_scipys_linear_interpolation(turn: float, up: float) -> None:
    """A smooth picture, turned clockwise about the patch's middle (scipy.ndimage.affine_transform, order 1)."""
    rows, cols = np.mgrid[0:160, 0:240]
    smooth = np.sin(cols / 9) * np.cos(rows / 7) + 2
    light = np.repeat(smooth[..., None], 3, axis=2).astype(np.float32)
    patch = patch_of(Aim(0.55, 0.45, 0.5), (240, 160), 1.5, turn)
    film = (round(patch.width * up), round(patch.width * up / 1.5))
    seen = resampled(light, patch, film)[..., 0]
    a, step = np.radians(turn), patch.width / film[0]
    matrix = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]]) * step  # rows, columns
    middle = np.array([patch.y, patch.x]) - 0.5
    offset = middle - matrix @ ((np.array(film[::-1]) - 1) / 2)
    theirs = affine_transform(smooth, matrix, offset, output_shape=film[::-1], order=1)
    np.testing.assert_allclose(seen, theirs, atol=0.012)


def test_a_turned_picture_turns_clockwise() -> None:
    """A horizon that falls to the right by 4 degrees stands level after a turn of -4."""
    rows, cols = np.mgrid[0:200, 0:300]
    ground = (rows - 100 > (cols - 150) * np.tan(np.radians(4))).astype(np.float32)
    light = np.repeat(ground[..., None], 3, axis=2)
    level = resampled(light, patch_of(Aim(), (300, 200), 1.5, -4.0), (240, 160))[..., 0]
    heights = level.sum(axis=0)
    assert np.ptp(heights[5:-5]) < 1.0
