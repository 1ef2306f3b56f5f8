"""Pictures with a look: an unset look is no change, colours stay themselves, noise goes and stars stay.

What a good noise reduction is worth here, half the noise and 95 % of a star's light, is common practice, no source.
"""

from __future__ import annotations

import time
from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from lapsebench.core.look import SLIDERS, Look, LookPreset, limits, with_look_preset
from lapsebench.core.lut import Lut1D, Lut3D
from lapsebench.core.transfer import linear_to_srgb, luminance, srgb_to_linear
from lapsebench.imaging import detail
from lapsebench.imaging.grade import graded, graded_codes

Image = NDArray[np.float32]

EITHER_WAY = st.floats(-100, 100)
LIGHT_LOOKS = st.builds(
    Look,
    contrast=EITHER_WAY,
    shadows=EITHER_WAY,
    highlights=st.floats(25, 100),
    saturation=EITHER_WAY,
    exposure=st.floats(-3, 3),
)
STOPS = np.linspace(-16, 0, 4096)


def picture(height: int = 40, width: int = 60, most: float = 1.0) -> Image:
    """Return light of all colours and levels."""
    return np.asarray(np.random.default_rng(7).random((height, width, 3)) ** 3 * most, dtype=np.float32)


def ramp(colour: tuple[float, float, float] = (1, 1, 1)) -> Image:
    """Return sixteen stops of a colour that brightens evenly in stops, (1, 4096, 3)."""
    return np.asarray(np.exp2(STOPS)[None, :, None] * np.array(colour), dtype=np.float32)


def set_to(name: str, value: float) -> Look:
    """Return a look with one slider set."""
    sliders: dict[str, Any] = {name: value}
    return Look(**sliders)


def inverted() -> Lut1D:
    return Lut1D(np.array([[1, 1, 1], [0, 0, 0]], np.float32))


@given(st.integers(0, 9))
def test_an_unset_look_leaves_every_pixel_and_costs_nothing(seed: int) -> None:
    light = np.random.default_rng(seed).standard_normal((9, 9, 3)).astype(np.float32)
    assert graded(light, Look()) is light
    codes = np.random.default_rng(seed).integers(0, 256, (9, 9, 3), dtype=np.uint8)
    assert graded_codes(codes, Look(), inverted()) is codes


@pytest.mark.parametrize("name", sorted(set(SLIDERS) - {"lut_share"}))
def test_every_slider_changes_the_picture_and_barely_near_0(name: str) -> None:
    light = np.minimum(night(0.01, height=200, width=1920)[1], 1)
    full, bit = (graded(light, set_to(name, limits(name)[1] * share)) for share in (1, 1e-6))
    assert np.abs(linear_to_srgb(full) - linear_to_srgb(light)).max() > 0.015
    assert np.abs(bit - light).max() < 2e-5


def test_the_picture_given_is_left_alone() -> None:
    light = picture()
    before = light.copy()
    look = Look(warmth=20, exposure=1, contrast=30, saturation=50, noise=40, sharpen=30, star_care=20, lut="a.cube")
    graded(light, look, inverted())
    assert np.array_equal(light, before)


@settings(max_examples=40, deadline=None)
@given(LIGHT_LOOKS)
def test_a_gradient_shows_no_steps(look: Look) -> None:
    light = ramp()
    light = light[:, : np.searchsorted(STOPS, -max(look.exposure, 0)) + 1]
    shown = graded(light, look)[0, :, 1].astype(float)
    slope = np.diff(np.log2(shown)) / (STOPS[1] - STOPS[0])
    assert slope.min() >= 0
    assert np.abs(np.diff(slope)).max() < 0.03


@settings(max_examples=40, deadline=None)
@given(LIGHT_LOOKS, st.floats(1, 8))
def test_light_stays_within_black_and_peak(look: Look, peak: float) -> None:
    shown = graded(picture(most=4), look, peak=peak)
    assert shown.min() >= 0
    assert shown.max() <= peak * (1 + 1e-6)
    assert not graded(np.zeros((3, 3, 3), np.float32), look, peak=peak).any()


def test_headroom_is_kept_where_the_film_has_it() -> None:
    light = np.array([[(3, 3, 3), (0.2, 0.2, 0.2)]], np.float32)
    assert graded(light, Look(saturation=50), peak=4.9) == pytest.approx(light)
    assert graded(light, Look(saturation=50)) == pytest.approx(np.minimum(light, 1))


def test_exposure_is_in_stops() -> None:
    light = picture(most=0.2)
    for stops in (-2.0, -0.5, 1.0, 2.0):
        np.testing.assert_allclose(graded(light, Look(exposure=stops)), light * 2**stops, rtol=1e-5)


@settings(max_examples=40, deadline=None)
@given(LIGHT_LOOKS)
def test_green_aurora_stays_green(look: Look) -> None:
    shown = graded(ramp((0.35, 1, 0.45)), look)[0].astype(float)
    parts = (shown - luminance(shown)[:, None]) / np.ptp(shown, axis=1, keepdims=True).clip(1e-12)
    assert (shown.argmax(axis=1) == 1).all() or look.saturation < -99
    if look.saturation > -99:
        np.testing.assert_allclose(parts, parts[:1].repeat(len(parts), axis=0), atol=2e-3)


@settings(max_examples=40, deadline=None)
@given(EITHER_WAY)
def test_saturation_keeps_bt709_luminance(saturation: float) -> None:
    shown = graded(picture(), Look(saturation=saturation))
    np.testing.assert_allclose(luminance(shown.astype(float)), luminance(picture().astype(float)), atol=1e-5)


def test_what_is_no_number_is_black_and_what_has_no_end_is_white() -> None:
    light = picture()
    light[3, 4], light[5, 6], light[7, 8] = np.nan, np.inf, -np.inf
    shown = graded(light, Look(contrast=20, saturation=20))
    np.testing.assert_allclose(shown[[3, 5, 7], [4, 6, 8], 1], [0, 1, 0], atol=1e-6)


@pytest.mark.parametrize("shape", [(1, 1), (1, 5000), (5000, 1), (2, 3)])
def test_pictures_of_any_shape_take_every_slider_at_its_end(shape: tuple[int, int]) -> None:
    ends: dict[str, Any] = {name: limits(name)[1] for name in SLIDERS}
    light = picture(*shape, most=5)
    shown = graded(light[:, ::-1], Look(**ends, lut="a.cube"), some_lut(), peak=3)
    assert shown.shape == light.shape
    assert 0 <= shown.min() <= shown.max() <= 3 * (1 + 1e-6)


def night(noise_sd: float, height: int = 540, width: int = 1920) -> tuple[Image, Image, list[tuple[int, int, float]]]:
    """Return a night with aurora and stars without noise and with it, and where the stars are: y, x, height.

    Noise grows with the root of the light; in that root it has `noise_sd`. Stars have a standard deviation of 0.8 px.
    """
    rng = np.random.default_rng(5)
    y, x = np.mgrid[:height, :width]
    glow = 0.02 + 0.015 * np.exp(-(((y - height * 0.4) / (height * 0.2)) ** 2))
    light = glow[..., None] * np.array([0.6, 1.2, 0.7])
    stars = []
    for top, left in product(range(45, height - 45, 45), range(45, width - 45, 45)):
        at = top + int(rng.integers(-8, 9)), left + int(rng.integers(-8, 9))
        stars.append((*at, float(rng.uniform(0.1, 0.6))))
        near = slice(at[0] - 8, at[0] + 9), slice(at[1] - 8, at[1] + 9)
        light[near] += stars[-1][2] * np.exp(-((y[near] - at[0]) ** 2 + (x[near] - at[1]) ** 2) / (2 * 0.8**2))[..., None]
    noisy = light + rng.standard_normal(light.shape) * 2 * noise_sd * np.sqrt(light)
    return light.astype(np.float32), np.maximum(noisy, 0).astype(np.float32), stars


def star_light(light: Image, stars: list[tuple[int, int, float]]) -> NDArray[np.float64]:
    """Return the light of each star within 5 px, above the median of the ring from 8 to 14 px."""
    down, across = np.mgrid[-14:15, -14:15]
    away = np.hypot(down, across)
    near, ring = away <= 5, (away > 8) & (away <= 14)
    patches = [light[y - 14 : y + 15, x - 14 : x + 15].sum(axis=2, dtype=float) for y, x, _ in stars]
    return np.array([patch[near].sum() - near.sum() * np.median(patch[ring]) for patch in patches])


def between(shape: tuple[int, ...], stars: list[tuple[int, int, float]]) -> NDArray[np.bool_]:
    """Return where no star is near, (h, w)."""
    free = np.ones(shape[:2], bool)
    for y, x, _ in stars:
        free[y - 8 : y + 9, x - 8 : x + 9] = False
    return free


@pytest.mark.parametrize("noise_sd", [0.01, 0.02])
def test_noise_goes_and_stars_stay(noise_sd: float) -> None:
    light, noisy, stars = night(noise_sd)
    shown = graded(noisy, Look(noise=60))
    free = between(light.shape, stars)
    before, after = ((seen - light)[free].std(axis=0) for seen in (noisy, shown))
    true, taken, kept = (star_light(seen, stars) for seen in (light, noisy, shown))
    bright = np.array([height for *_, height in stars]) >= 0.3  # the noisy light of fainter ones is off by 5 % itself
    change = np.abs(kept / taken - 1)[bright].max()
    print(f"sd {noise_sd}: noise / {np.round(before / after, 1)}, stars {change:.3f}, mean {(kept / true).mean():.4f}")
    assert (before / after > 2).all()
    assert change < 0.05
    assert (kept / true).mean() == pytest.approx(1, abs=0.01)
    assert (kept / true).std() < (taken / true).std()
    assert shown[free].mean() == pytest.approx(noisy[free].mean(), rel=1e-3)


@pytest.mark.parametrize("care", [-100.0, -40.0, 60.0, 100.0])
def test_care_moves_the_light_of_stars_and_nothing_else(care: float) -> None:
    light, _, stars = night(0.0)
    stars = [star for star in stars if star[2] < 0.35]
    shown = graded(light, Look(star_care=care), peak=8)
    assert np.median(star_light(shown, stars) / star_light(light, stars)) == pytest.approx(2 ** (care / 100), rel=0.05)
    free = between(light.shape, night(0.0)[2])
    assert np.abs(shown - light)[free].max() < 1e-4


def test_care_leaves_moon_and_skyline() -> None:
    y, x = np.mgrid[:400, :1920]
    light = (
        np.where((np.hypot(y - 150, x - 800) < 30) | (y > 300), 0.7, 0.02).astype(np.float32)[..., None].repeat(3, axis=2)
    )
    shown = graded(light, Look(star_care=100))
    assert np.abs(shown - light).max() < 0.02


def test_noise_reduction_keeps_aurora_rays_and_the_skyline() -> None:
    y, x = np.mgrid[:300, :1920]
    rays = 0.03 * (1 + 0.4 * np.sin(2 * np.pi * x / 48))
    light = np.where(y < 200, rays, 0.002).astype(np.float32)[..., None].repeat(3, axis=2)
    shown = graded(light, Look(noise=60))
    sky, ground = shown[40:160, 100:-100, 1], shown[202:260, 100:-100, 1]
    assert np.ptp(sky.mean(axis=0)) > 0.9 * np.ptp(rays[0])
    assert np.abs(ground - 0.002).max() < 0.04 * 0.03


def test_noise_reduction_is_the_same_whatever_else_is_in_the_frame() -> None:
    _, noisy, _ = night(0.02, height=200, width=1920)
    lit = noisy.copy()
    lit[:, 1500:] = 0.9
    one, other = (graded(frame, Look(noise=60, star_care=20, sharpen=20)) for frame in (noisy, lit))
    np.testing.assert_allclose(one[:, :1400], other[:, :1400], atol=1e-6)


def test_sharpening_steepens_edges_and_leaves_flat_parts() -> None:
    x = np.arange(1920)
    edge = (0.15 + 0.1 * np.tanh((x - 960) / 1.4))[None, :, None].repeat(20, axis=0).repeat(3, axis=2).astype(np.float32)
    steep = [np.diff(graded(edge, Look(sharpen=sharpen))[10, :, 1]).max() for sharpen in (30.0, 60.0, 100.0)]
    assert np.diff(edge[10, :, 1]).max() * 1.1 < steep[0] < steep[1] < steep[2]
    assert np.abs(graded(edge, Look(sharpen=100)) - edge)[:, :900].max() < 1e-5


@pytest.mark.parametrize("look", [Look(sharpen=60), Look(noise=60), Look(star_care=60)])
def test_a_preview_of_half_the_size_looks_alike(look: Look) -> None:
    rng = np.random.default_rng(9)
    blobs = np.zeros((400, 1920))
    for y, x in zip(rng.integers(20, 380, 90), rng.integers(20, 1900, 90), strict=True):
        down, across = np.mgrid[:400, :1920][0] - y, np.mgrid[:400, :1920][1] - x
        blobs += 0.3 * np.exp(-(down**2 + across**2) / (2 * 1.8**2))
    grain = gaussian_filter(rng.standard_normal(blobs.shape), 2.5)
    light = (0.03 * (1 + 0.15 * grain / grain.std()).clip(0.1) + blobs)[..., None].repeat(3, axis=2).astype(np.float32)

    def half(seen: Image) -> Image:
        return np.asarray(seen.reshape(200, 2, 960, 2, 3).mean(axis=(1, 3)), dtype=np.float32)

    change = half(graded(light, look)) - half(light)
    small = graded(half(light), look) - half(light)
    assert np.sqrt(np.mean((change - small) ** 2)) < 0.35 * np.sqrt(np.mean(change**2)), look


def test_large_pictures_are_treated_alike_in_strips(monkeypatch: pytest.MonkeyPatch) -> None:
    _, light, _ = night(0.02, height=900, width=400)
    look = Look(noise=60, star_care=40, sharpen=40)
    monkeypatch.setattr(detail, "_ROWS", 2000)
    whole = graded(light, look)
    monkeypatch.setattr(detail, "_ROWS", 70)
    np.testing.assert_allclose(graded(light, look), whole, atol=1e-6)


def some_lut() -> Lut3D:
    axis = np.linspace(0, 1, 9)
    red, green, blue = np.meshgrid(axis, axis, axis, indexing="ij")
    return Lut3D(np.stack([red**0.8, 0.9 * green, 0.1 + 0.8 * blue * red], axis=-1).astype(np.float32))


@pytest.mark.parametrize("share", [30.0, 100.0])
def test_a_table_works_on_srgb_codes_with_its_share(share: float) -> None:
    light = picture()
    codes = linear_to_srgb(light)
    changed = some_lut().applied(codes.astype(np.float32)).astype(float)
    expected = srgb_to_linear(codes + share / 100 * (changed - codes))
    shown = graded(light, Look(lut="a.cube", lut_share=share), some_lut())
    assert np.abs(shown - expected).max() < 1e-5


def test_a_table_leaves_headroom_over_white() -> None:
    straight = Lut1D(np.array([[0, 0, 0], [1, 1, 1]], np.float32))
    light = picture(most=4)
    np.testing.assert_allclose(graded(light, Look(lut="a.cube"), straight, peak=4), light, atol=1e-5)


def test_a_table_that_is_not_chosen_does_nothing() -> None:
    light = picture()
    chosen = Look(contrast=20)
    assert np.array_equal(graded(light, chosen, inverted()), graded(light, chosen))
    assert np.array_equal(graded(light, replace(chosen, lut="gone.cube")), graded(light, chosen))


@settings(max_examples=20, deadline=None)
@given(LIGHT_LOOKS)
def test_codes_and_light_give_the_same_picture(look: Look) -> None:
    codes = np.random.default_rng(3).integers(0, 256, (40, 50, 3), dtype=np.uint8)
    light = graded(srgb_to_linear(codes / 255).astype(np.float32), look)
    expected = np.rint(255 * linear_to_srgb(light))
    assert np.abs(graded_codes(codes, look).astype(int) - expected).max() <= 1


def test_a_straight_table_leaves_every_code() -> None:
    codes = np.arange(256, dtype=np.uint8).reshape(16, 16, 1).repeat(3, axis=2)
    straight = Lut1D(np.array([[0, 0, 0], [1, 1, 1]], np.float32))
    assert np.array_equal(graded_codes(codes, Look(lut="a.cube"), straight), codes)


def test_presets_keep_a_night_dark_and_its_noise_down() -> None:
    light, noisy, stars = night(0.02)
    free = between(light.shape, stars)
    for preset in LookPreset:
        shown = graded(noisy, with_look_preset(Look(), preset))
        assert abs(np.log2(shown[free].mean() / noisy[free].mean())) < 0.5, preset
        grain = [np.abs(np.diff(np.log2(seen[..., 1] + 1e-3), axis=1)).mean() for seen in (noisy, shown)]
        assert grain[1] < 0.85 * grain[0], preset


@pytest.mark.parametrize(
    ("look", "most_s"),
    [(Look(contrast=20, shadows=10, highlights=30, saturation=20, warmth=5), 0.12), (Look(lut="a.cube"), 0.6)],
)
def test_a_large_frame_is_quick(look: Look, most_s: float) -> None:
    frame = picture(1080, 1920)
    took = []
    for _ in range(5):
        start = time.process_time()
        graded(frame, look, some_lut())
        took.append(time.process_time() - start)
    print(f"1920 x 1080: {min(took):.3f} s")
    assert min(took) < most_s
