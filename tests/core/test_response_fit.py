"""Curves of many made-up cameras are found again from tiles that move, flicker and miss their marks; sRGB stays sRGB."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from lapsebench.core.response import Origin, Response, knots
from lapsebench.core.response_fit import fit_responses
from lapsebench.core.response_samples import Around
from lapsebench.core.transfer import linear_to_srgb, srgb_to_linear

Floats = NDArray[np.float64]
N, K = 60, 900


def coded(kind: str, light: Floats, strength: float) -> Floats:
    """Return codes 0..1 of a camera of a kind; `strength` 0..1."""
    plain = linear_to_srgb(light)
    if kind == "contrast":
        power = 1.15 + 0.4 * strength
        return np.asarray(plain**power / (plain**power + (1 - plain) ** power))
    if kind == "gamma":
        return np.asarray(light ** (1 / (1.8 + 0.8 * strength)))
    if kind == "filmic":
        squeeze = 2 + 3 * strength
        return linear_to_srgb(np.log1p(squeeze * light) / np.log1p(squeeze))
    if kind == "lifted":
        foot = 0.02 + 0.04 * strength
        return np.asarray(foot + (1 - foot) * plain**1.3)
    if kind == "steeper":
        return linear_to_srgb(light**1.11)
    return plain


def strength_of(kind: str, seed: int) -> float:
    """Return how strong the curve of a night's camera is."""
    return float(np.random.default_rng([seed, *kind.encode(), 1]).uniform())


def night(kind: str, seed: int) -> tuple[NDArray[np.float32], NDArray[np.float32], Floats]:
    """Return tiles (3, N, K) decoded as sRGB, how usable they are, and the marks, of a camera and a sky that moves."""
    random = np.random.default_rng([seed, *kind.encode()])
    marks = np.repeat(random.choice([-4, -2, -1, 1, 2, 3, 4], N // 6) / 3, 6)
    received = marks + random.normal(0, 0.05, N)
    place = random.uniform(-8, -1.5, K)
    sky = np.cumsum(random.normal(0, 0.05, (N, K)) * (place > -4), axis=0)
    light = np.clip(2.0 ** (place + sky + received[:, None] + np.array([-0.6, 0.0, -0.9])[:, None, None]), 0, 1)
    codes = coded(kind, light, strength_of(kind, seed)) + random.normal(0, 0.15 / 255, light.shape)
    return srgb_to_linear(np.clip(codes, 0, 1)).astype(np.float32), (light < 0.95).astype(np.float32), marks


def misfit(response: Response, kind: str, strength: float) -> float:
    """Return the rms difference from the true curve over codes 30 to 180, stops of equal scale."""
    light = 2.0 ** np.linspace(-9, 0, 4000)
    codes = np.linspace(30, 180, 60) / 255
    true = np.interp(codes, coded(kind, light, strength), np.log2(light))
    slope, level = np.polyfit(response.stops(codes), true, 1)
    return float(np.std(true - slope * response.stops(codes) - level))


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("kind", ["contrast", "gamma", "filmic", "lifted"])
def test_the_curve_of_a_camera_is_found(kind: str, seed: int) -> None:
    strength = strength_of(kind, seed)
    responses = fit_responses([Around(*night(kind, seed))])
    for response in responses:
        print(kind, seed, response.origin, f"{misfit(response, kind, strength):.4f}")
        assert misfit(response, kind, strength) < 0.02
        assert (np.diff(response.ev) > 0).all()
        assert response.ev[-1] == 0


@pytest.mark.parametrize("seed", range(4))
def test_a_camera_that_follows_srgb_keeps_it(seed: int) -> None:
    responses = fit_responses([Around(*night("plain", seed))])
    assert [response.origin for response in responses] == [Origin.SRGB_FITS] * 3


def hint(kind: str, strength: float) -> Response:
    """Return a camera's true curve, as something else than its tiles may tell it."""
    light = 2.0 ** np.linspace(-14, 0, 8000)
    return Response(tuple(knots()), tuple(np.interp(knots(), coded(kind, light, strength), np.log2(light))))


@pytest.mark.parametrize("seed", range(2))
def test_a_hint_of_another_curve_is_believed_where_the_marks_agree(seed: int) -> None:
    """A tenth more contrast than sRGB's, the same at all codes, may be the shutter's errors by the marks alone."""
    strength = strength_of("steeper", seed)
    steeper, plain = ([Around(*night(kind, seed))] for kind in ("steeper", "plain"))
    assert fit_responses(steeper)[1].origin is Origin.SRGB_FITS
    believed = fit_responses(steeper, hint=hint("steeper", strength))[1]
    assert believed.origin is Origin.MEASURED
    assert misfit(believed, "steeper", strength) < 0.04
    assert fit_responses(plain, hint=hint("steeper", strength))[1].origin is Origin.SRGB_FITS


def test_one_setting_change_is_too_few() -> None:
    light, usable, marks = night("filmic", 1)
    responses = fit_responses([Around(light[:, :2], usable[:, :2], np.array([0.0, -1.0]))])
    assert [response.origin for response in responses] == [Origin.TOO_FEW] * 3
    assert marks.size == N


def test_the_scale_is_that_of_the_marks() -> None:
    light, usable, marks = night("filmic", 2)
    middle = fit_responses([Around(light, usable, marks)])[1]
    stops, weight = middle.seen(light[1])
    jumps = [
        np.median((stops[i + 1] - stops[i])[(weight[i] > 0.3) & (usable[1, i] > 0) & (usable[1, i + 1] > 0)])
        for i in range(N - 1)
    ]
    changed = np.abs(np.diff(marks)) > 0.2
    assert np.polyfit(np.diff(marks)[changed], np.array(jumps)[changed], 1)[0] == pytest.approx(1.0, abs=0.08)
