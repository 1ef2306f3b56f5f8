"""What is taken for a bump: detail that is elsewhere and back, or smeared; what only drifts, flickers or stays is none."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, shift

from lapsebench.core.bumps import LONGEST, Match, is_bumped, still_tiles, suspects, tile_shifts
from lapsebench.core.shots import moved_frames

ROWS, COLS, GROUND = 43, 64, 25


def night(
    seed: int, n: int = 40, *, ground: bool = True, bumps: dict[int, tuple[float, float]] | None = None
) -> NDArray[np.float32]:
    """Return tiles (n, rows, cols): an arc that wanders and flickers over ground, exposure changing, `bumps` in tiles."""
    random = np.random.default_rng(seed)
    y, x = np.mgrid[0:ROWS, 0:COLS]
    texture = 0.02 * 2 ** (3 * gaussian_filter(random.normal(0, 1, (ROWS, COLS)), 1.2))
    frames = []
    for i in range(n):
        arc = 0.2 * np.exp(-(((y - 12 - 4 * np.sin(x / 9 + i / 3)) / 3) ** 2)) * random.uniform(0.5, 2)
        sky = 0.01 + arc
        light = np.where(y < GROUND, sky, texture * (1 + arc.mean() * 10)) if ground else sky
        down, right = (bumps or {}).get(i, (0.0, 0.0))
        light = shift(light, (down, right), order=1, mode="nearest")
        frames.append(light * 2.0 ** random.normal(0, 0.3) * random.normal(1, 0.004, light.shape))
    return np.asarray(frames, np.float32)


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    length=st.integers(1, LONGEST),
    tiles=st.floats(0.26, 2.0),
    angle=st.floats(0, 2 * np.pi),
)
def test_every_bump_of_half_a_hundredth_of_the_width_is_suspected(
    seed: int, length: int, tiles: float, angle: float
) -> None:
    off = tiles * np.sin(angle), tiles * np.cos(angle)
    light = night(seed, bumps={20 + k: off for k in range(length)})
    assert (19, 20, 19 + length, 20 + length) in suspects(light, np.ones(40, bool))


@pytest.mark.parametrize("seed", range(6))
def test_flickering_exposure_and_wandering_aurora_are_not_suspected(seed: int) -> None:
    assert suspects(night(seed), np.ones(40, bool)) == []


def test_frames_not_to_go_by_are_stepped_over() -> None:
    light = night(3, bumps={20: (0.0, 1.0)})
    light[[19, 22]] = 0
    usable = np.ones(40, bool)
    usable[[19, 22]] = False
    assert suspects(light, usable) == [(18, 20, 20, 21)]
    assert suspects(light, np.zeros(40, bool)) == []
    assert suspects(light[:2], np.ones(2, bool)) == []


@pytest.mark.parametrize("tiles", [0.1, 0.25, 0.5])
def test_shifts_of_tiles_are_those_laid_on_with_scipy(tiles: float) -> None:
    light = night(1, bumps={20: (tiles, -tiles)})
    pairs = np.arange(39)
    found = tile_shifts(light, pairs, pairs + 1, still_tiles(light, np.arange(40)))
    np.testing.assert_allclose(found[19], (tiles, -tiles), rtol=0.25)
    np.testing.assert_allclose(found[20], (-tiles, tiles), rtol=0.25)
    assert np.abs(np.delete(found, [19, 20], axis=0)).max() < 0.03


@pytest.mark.parametrize("length", [1, 2, LONGEST])
def test_a_bump_does_not_cut_the_shot_and_a_lasting_move_does(length: int) -> None:
    usable = np.ones(40, bool)
    assert moved_frames(night(2, bumps={18 + k: (4.0, 7.0) for k in range(length)}), usable) == []
    assert moved_frames(night(2, bumps=dict.fromkeys(range(18, 40), (4.0, 7.0))), usable) == [18]
    assert moved_frames(night(2, bumps=dict.fromkeys(range(18, 19 + LONGEST), (4.0, 7.0))), usable) == [18, 19 + LONGEST]
    assert suspects(night(2, bumps=dict.fromkeys(range(18, 40), (1.0, 1.0))), usable) == []


def matched(shift: object, *, alike: float = 0.9, in_place: float = 0.5, sharp: float = 1.0, count: int = 20) -> Match:
    """Return a match of `count` blocks alike in everything, `shift` in shares of the longer side."""
    return Match(
        np.broadcast_to(np.asarray(shift, float), (count, 2)),
        *(np.full(count, value) for value in (alike, in_place, 1.0, sharp)),
    )


def test_a_common_shift_or_a_smear_is_a_bump_and_less_is_not() -> None:
    assert is_bumped(matched((0.003, 0.003)))
    assert is_bumped(matched((0.0, 0.0), in_place=0.9, sharp=0.5))
    assert not is_bumped(matched((0.001, 0.0)))
    assert not is_bumped(matched((0.0, 0.0), sharp=0.92))
    assert not is_bumped(matched((0.004, 0.0), in_place=0.9)), "as alike in place: the shift is of something that repeats"


def test_what_is_not_decidable_is_no_bump() -> None:
    assert not is_bumped(Match.none())
    assert not is_bumped(matched((0.01, 0.0), count=3))
    assert not is_bumped(matched((0.01, 0.0), alike=0.3))
    random = np.random.default_rng(1)
    assert not is_bumped(matched(random.uniform(-0.02, 0.02, (20, 2)))), "blocks that disagree are clouds or aurora"
