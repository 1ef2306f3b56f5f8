"""Registration finds shifts laid on by other means, and is not led by exposure, noise, aurora or turning stars."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.ndimage import fourier_shift, gaussian_filter, shift

from lapsebench.core.bumps import Match, is_bumped
from lapsebench.imaging.register import detail_of, detail_of_jpeg, match, shifts

HEIGHT, WIDTH = 320, 480
Image = NDArray[np.float64]


def ground(seed: int) -> Image:
    """Return textured ground, (h, w) linear light."""
    noise = np.random.default_rng(seed).normal(0, 1, (HEIGHT, WIDTH))
    return 0.02 * np.exp2(2.5 * gaussian_filter(noise, 1.5) + 12 * gaussian_filter(noise, 8))


def coded(light: Image, seed: int = 0, exposure_ev: float = 0.0) -> NDArray[np.uint8]:
    """Return 8-bit codes of light, with noise."""
    light = light * 2.0**exposure_ev + np.random.default_rng(seed).normal(0, 2e-4, light.shape)
    return np.rint(255 * np.clip(light, 0, 1) ** (1 / 2.2)).astype(np.uint8)


def common(found: Match) -> NDArray[np.float64]:
    """Return the common shift of a match, px."""
    return np.asarray(np.median(found.shift, axis=0) * WIDTH)


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10_000), down=st.floats(-9, 9), right=st.floats(-9, 9))
def test_blocks_are_found_where_the_fourier_shift_of_scipy_puts_them(seed: int, down: float, right: float) -> None:
    block = gaussian_filter(np.random.default_rng(seed).normal(0, 1, (64, 64)), 1.2, mode="wrap")
    moved = np.fft.ifft2(fourier_shift(np.fft.fft2(block), (down, right))).real
    off, alike = shifts(block[None].astype(np.float32), moved[None].astype(np.float32))
    np.testing.assert_allclose(off[0], (down, right), atol=0.5)  # the window pulls far shifts towards none
    assert alike[0] > 0.4


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    down=st.floats(-40, 40),
    right=st.floats(-40, 40),
    exposure_ev=st.floats(-1.5, 1.0),
)
def test_whole_pictures_are_registered_to_a_part_of_a_pixel(
    seed: int, down: float, right: float, exposure_ev: float
) -> None:
    still = ground(seed)
    moved = shift(still, (down, right), order=3, mode="reflect")
    found = match(
        detail_of(coded(still, 1)), detail_of(coded(np.abs(moved), 2, exposure_ev)), detail_of(coded(still, 3, 0.5))
    )
    np.testing.assert_allclose(common(found), (down, right), atol=0.15)
    far = float(np.hypot(down, right)) / WIDTH
    assert is_bumped(found) or far < 0.003
    assert not is_bumped(found) or far > 0.0015


def test_a_changed_exposure_and_noise_are_no_shift() -> None:
    still = ground(4)
    found = match(detail_of(coded(still, 1)), detail_of(coded(still, 2, -1.5)), detail_of(coded(still, 3, 1.0)))
    assert np.abs(common(found)).max() < 0.05
    assert not is_bumped(found)


@pytest.mark.parametrize("px", [4, 8, 14])
def test_a_smear_of_the_shaken_camera_is_a_bump(px: int) -> None:
    still = ground(5)
    smeared = np.mean(
        [shift(still, (0.3 * s, s), order=1, mode="reflect") for s in np.linspace(-px / 2, px / 2, 15)], axis=0
    )
    assert is_bumped(match(detail_of(coded(still, 1)), detail_of(coded(smeared, 2)), detail_of(coded(still, 3))))


@pytest.mark.parametrize("px_a_frame", [0.4, 1.0, 3.0])
def test_stars_that_turn_are_no_bump(px_a_frame: float) -> None:
    random = np.random.default_rng(6)
    y, x, light = random.uniform(0, HEIGHT, 400), random.uniform(0, WIDTH, 400), random.pareto(1.2, 400).clip(0.2, 20)

    def sky(k: int) -> NDArray[np.uint8]:
        points = np.zeros((HEIGHT, WIDTH))
        for a, b, c in zip(y, x, light, strict=True):
            points[int(a), int(b)] += c
        return coded(np.clip(0.01 + gaussian_filter(shift(points, (0, k * px_a_frame), order=1), 0.8), 0, 1), k)

    assert not is_bumped(match(*(detail_of(sky(k)) for k in range(3))))


def test_dark_and_plain_pictures_are_not_decidable() -> None:
    dark = [detail_of(coded(np.full((HEIGHT, WIDTH), 2e-4), seed)) for seed in range(3)]
    assert not is_bumped(match(*dark))
    plain = np.zeros((HEIGHT, WIDTH), np.float32)
    assert match(plain, plain, plain).energy.size == 0


def test_pictures_that_can_not_be_decoded_have_no_detail() -> None:
    assert detail_of_jpeg(b"") is None
    assert detail_of_jpeg(b"no picture") is None
    _, jpeg = cv2.imencode(".jpg", coded(ground(7)))
    found = detail_of_jpeg(bytes(jpeg))
    assert found is not None
    assert found.shape == (HEIGHT, WIDTH)
