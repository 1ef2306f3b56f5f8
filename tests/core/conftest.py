"""Nights made of tiles, with known exposure and known scene, for the tests of the light."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from lapsebench.core.response import srgb_response
from lapsebench.core.separation import Evidence
from lapsebench.core.transfer import linear_to_srgb, srgb_to_linear

Floats = NDArray[np.float64]
ROWS, COLS = 20, 30


@dataclass(frozen=True)
class Night:
    """`received_ev` really laid on, `marks_ev` told by the metadata, scene `light` (n, rows * cols) at exposure 0."""

    received_ev: Floats
    marks_ev: Floats
    light: Floats
    evidence: Evidence


MakeNight = Callable[..., Night]


@pytest.fixture
def make_night() -> MakeNight:
    """Return a maker of nights; see `_night`."""
    return _night


def _night(
    *,
    seed: int = 0,
    n: int = 120,
    flicker: float = 0.04,
    bias: float = 0.05,
    breakup: float = 2.0,
    known: bool = True,
    changes: tuple[tuple[int, float], ...] = ((30, -1.0), (62, -4 / 3), (90, 1.0)),
    told: tuple[tuple[int, float], ...] | None = None,
) -> Night:
    """Return a night of a static ground under a moving arc that brightens by `breakup` stops about the middle.

    `changes`: frame and stops of each change of setting; `told`: what the metadata say of them, the same when None.
    """
    random = np.random.default_rng(seed)
    frames = np.arange(n)
    rise = breakup / (1 + np.exp(-(frames - 0.45 * n) / 3.0)) / (1 + np.exp((frames - 0.78 * n) / 6.0))
    sky_rows = ROWS * 2 // 3
    y, x = np.mgrid[0:ROWS, 0:COLS]
    light = np.empty((n, ROWS, COLS))
    texture = 0.01 * 2 ** random.normal(0, 0.7, (ROWS, COLS))
    for i in frames:
        ridge = sky_rows / 2 + 3 * np.sin(2 * np.pi * (x / COLS * 2 + i / 37))
        arc = 0.12 * np.exp(-(((y - ridge) / 2.5) ** 2)) * (1 + 0.5 * np.sin(x * 1.7 + i * 0.9))
        light[i] = texture * (1 + 0.4 * (2 ** rise[i] - 1)) + (y < sky_rows) * arc * 2 ** rise[i]
    true_steps, told_steps = _stairs(changes, n), _stairs(changes if told is None else told, n)
    biases = {step: random.normal(0, bias) for step in np.unique(true_steps)}
    received = true_steps + np.array([biases[step] for step in true_steps]) + random.normal(0, flicker, n)
    return Night(received, told_steps, light.reshape(n, -1), _evidence(light, received, told_steps, random, known=known))


def _stairs(changes: tuple[tuple[int, float], ...], n: int) -> Floats:
    stairs = np.zeros(n)
    for frame, stops in changes:
        stairs[frame:] += stops
    return stairs


def _evidence(light: Floats, received: Floats, marks: Floats, random: np.random.Generator, *, known: bool) -> Evidence:
    """Return what a camera would show: clipped at white, coded in 8-bit sRGB with a little noise in the tile means."""
    n = received.size
    exposed = np.clip(light * 2.0 ** received[:, None, None], 0, 1)
    noisy = exposed * (1 + random.normal(0, 0.003, exposed.shape)) + random.normal(0, 1e-5, exposed.shape)
    codes = np.clip(linear_to_srgb(np.clip(noisy, 0, 1)), 0, 1)
    recorded = srgb_to_linear(np.round(codes * 255 * 16) / (255 * 16)).reshape(n, -1)
    log_tiles, weights = srgb_response().seen(recorded)
    weights = weights * (exposed.reshape(n, -1) < 0.98)
    return Evidence(
        log_tiles=log_tiles,
        weights=weights.astype(np.float32),
        exposure_ev=marks if known else np.full(n, np.nan),
        settings=tuple(marks.tolist()) if known else (None,) * n,
        after_gap=np.zeros(n, bool),
        luminance_ev=np.log2(recorded.mean(axis=1)),
        clipped=(exposed >= 0.98).mean(axis=(1, 2)),
        highlight_ev=np.log2(np.quantile(recorded, 0.99, axis=1)),
    )
