"""The ground of the demo night: a ridge beyond a fjord, a snowy shore, spruces and a cabin with a lit window."""

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from demo_night.lens import HEIGHT, HORIZON_ROW, WIDTH, Image, directions, project
from demo_night.plan import SEED
from demo_night.waves import fractal

_FINE = 3
_COLUMNS = np.arange(WIDTH * _FINE + 1) / _FINE
_WINDOW = (707.0, 571.0, 6.5, 7.5)
"""The lit window: left, top, width and height in pixels."""


@dataclass(frozen=True)
class Ground:
    """Shares (height, width) of each pixel that a part covers, and how much of the sky's light the part gives back."""

    ridge: Image
    ridge_albedo: Image
    shore: Image
    shore_albedo: Image
    dark: Image
    dark_albedo: Image
    roof: Image
    water: Image
    water_gain: Image
    window: Image
    window_spill: Image


def _cover(*outlines: NDArray[np.floating]) -> Image:
    """Anti-aliased cover of closed outlines, each (n, 2) of column and row."""
    canvas = np.zeros((HEIGHT * _FINE, WIDTH * _FINE), np.uint8)
    for outline in outlines:
        cv2.fillPoly(canvas, [np.round(outline * _FINE * 16).astype(np.int32)], 255, shift=4)
    small = cv2.resize(canvas, (WIDTH, HEIGHT), interpolation=cv2.INTER_AREA)
    return small.astype(np.float32) / np.float32(255)


def _below(rows: NDArray[np.floating]) -> NDArray[np.float64]:
    """Outline of all that lies below a line with one row per fine column."""
    line = np.column_stack([_COLUMNS, rows])
    return np.vstack([line, [[WIDTH, HEIGHT], [0, HEIGHT]]]).astype(np.float64)


def _profile(rng: np.random.Generator, *, cells: int, octaves: int) -> NDArray[np.float64]:
    """Still noise along the picture, one value per fine column, unit variance."""
    line = fractal(rng, width=len(_COLUMNS), height=2, coarsest=(cells, 1), octaves=octaves)[0]
    return np.asarray(line, np.float64)


def _ridge_rows(rng: np.random.Generator) -> NDArray[np.float64]:
    """Upper edge of the far ridge: a mountain left of the middle, lower hills about it."""
    x = _COLUMNS / WIDTH
    height = np.full(len(x), 16.0)
    for place, tall, wide in ((0.04, 30, 0.12), (0.33, 58, 0.11), (0.52, 34, 0.10), (0.93, 40, 0.16)):
        height += tall * np.exp(-(((x - place) / wide) ** 2))
    height *= 1 + 0.14 * _profile(rng, cells=16, octaves=6)
    return np.asarray(HORIZON_ROW - np.maximum(height, 3.0), np.float64)


def _shore_rows(rng: np.random.Generator) -> NDArray[np.float64]:
    """Upper edge of the near shore: a bay in the middle, banks at the sides."""
    x = _COLUMNS / WIDTH
    bank = 585 + 30 * np.exp(-(((x - 0.44) / 0.17) ** 2)) - 8 * np.exp(-(((x - 0.76) / 0.12) ** 2))
    return np.asarray(bank + 1.6 * _profile(rng, cells=9, octaves=5), np.float64)


def _spruce(rng: np.random.Generator, *, foot: float, base: float, tall: float) -> NDArray[np.float64]:
    """Outline of one spruce: tiers of drooping branches that grow wider downwards."""
    tiers = int(tall / 5.5) + 4
    down = np.linspace(0.04, 0.95, tiers)
    left, right = [], []
    for share in down:
        reach = (0.02 + 0.17 * share**0.9) * tall * rng.uniform(0.78, 1.12, 2)
        droop = 0.035 * tall
        row = base - tall * (1 - share)
        left += [(foot - 0.45 * reach[0], row - droop * 0.6), (foot - reach[0], row + droop)]
        right += [(foot + 0.45 * reach[1], row - droop * 0.6), (foot + reach[1], row + droop)]
    trunk = [(foot + 0.02 * tall, base + 2), (foot - 0.02 * tall, base + 2)]
    return np.array([(foot, base - tall), *right, *trunk, *left[::-1]], np.float64)


def _forest(rng: np.random.Generator) -> list[NDArray[np.float64]]:
    """Spruces at the left edge, some at the right, a few small ones along the bank."""
    stand = [(18, 606, 178), (52, 604, 132), (84, 601, 168), (116, 603, 96), (143, 600, 62)]
    stand += [(176, 599, 40), (905, 596, 92), (934, 598, 138), (962, 600, 110), (874, 594, 58), (849, 591, 36)]
    stand += [(203, 598, 24), (640, 590, 20), (655, 589, 30), (826, 590, 22)]
    return [_spruce(rng, foot=x, base=base, tall=tall) for x, base, tall in stand]


def _cabin() -> tuple[list[NDArray[np.float64]], list[NDArray[np.float64]]]:
    """Outlines of the cabin's dark walls with chimney, and of its snow-covered roof."""
    walls = np.array([(690, 588), (690, 567), (755, 567), (755, 588)], np.float64)
    gable = np.array([(690, 568), (703, 549), (716, 568)], np.float64)
    chimney = np.array([(734, 555), (734, 540), (740, 540), (740, 555)], np.float64)
    roof = np.array([(702, 546), (704, 544), (749, 545), (760, 568), (757, 570), (717, 569)], np.float64)
    eave = np.array([(702, 545), (705, 546), (690, 570), (686, 570)], np.float64)
    return [walls, gable, chimney], [roof, eave]


def _slopes(rng: np.random.Generator, *, cells: tuple[int, int], contrast: float) -> Image:
    """Light and shade on rough snow, (height, width), about 1."""
    relief = fractal(rng, width=WIDTH, height=HEIGHT, coarsest=cells, octaves=6)
    facing = cv2.GaussianBlur(relief, (0, 0), 1.0) - np.pad(relief, ((2, 0), (3, 0)), mode="edge")[:HEIGHT, :WIDTH]
    return np.asarray(np.clip(1.0 + contrast * facing / facing.std(), 0.08, None), np.float32)


def _window() -> tuple[Image, Image]:
    """Light of the window itself and of its shine on the snow in front, each with peak 1."""
    left, top, wide, high = _WINDOW
    half = wide / 2 - 0.5
    panes = [np.array([(x, top), (x + half, top), (x + half, top + high), (x, top + high)]) for x in (left, left + half + 1)]
    row, column = np.mgrid[0:HEIGHT, 0:WIDTH]
    across = (column - left - wide / 2) / (11 + 0.45 * np.clip(row - 586, 0, None))
    spill = np.exp(-(across**2)) * np.exp(-np.clip(row - 587, 0, None) / 13.0) * (row >= 585)
    return _cover(*panes), spill.astype(np.float32)


@cache
def ground() -> Ground:
    """All parts of the ground; the camera stands still, so they are the same for every frame."""
    rng = np.random.default_rng([SEED, 4])
    ridge, shore = _cover(_below(_ridge_rows(rng))), _cover(_below(_shore_rows(rng)))
    walls, roof = _cabin()
    dark = _cover(*_forest(rng), *walls)
    row = np.arange(HEIGHT, dtype=np.float32)[:, None]
    rock = fractal(rng, width=WIDTH, height=HEIGHT, coarsest=(30, 26), octaves=4)
    ridge_albedo = _slopes(rng, cells=(24, 40), contrast=0.6) * np.where(rock > 0.5, 0.16, 0.42)
    shore_albedo = _slopes(rng, cells=(12, 34), contrast=0.16) * (0.62 + 0.004 * (row - 600))
    window, spill = _window()
    water = np.clip(np.asarray(row - HORIZON_ROW + 0.5), 0, 1) * (1 - shore)
    ripples = fractal(rng, width=WIDTH, height=HEIGHT, coarsest=(10, 80), octaves=4)
    needles = fractal(rng, width=WIDTH, height=HEIGHT, coarsest=(160, 120), octaves=2)
    return Ground(
        ridge=ridge,
        ridge_albedo=np.asarray(cv2.GaussianBlur(ridge_albedo, (0, 0), 0.8), np.float32),
        shore=shore,
        shore_albedo=shore_albedo.astype(np.float32),
        dark=dark,
        dark_albedo=np.clip(0.022 + 0.010 * needles, 0.004, None).astype(np.float32),
        roof=_cover(*roof),
        water=water.astype(np.float32),
        water_gain=np.clip(0.62 + 0.07 * ripples, 0.2, 0.95).astype(np.float32),
        window=window,
        window_spill=spill * shore,
    )


@cache
def mirror_maps() -> tuple[tuple[Image, Image], ...]:
    """Where the water finds its mirror image, (columns, rows) per tilt of the ripples."""
    azimuth, elevation = directions(WIDTH, HEIGHT)
    rng = np.random.default_rng([SEED, 5])
    sway = fractal(rng, width=WIDTH, height=HEIGHT, coarsest=(14, 110), octaves=3)
    maps = []
    for lift in np.deg2rad([-0.4, 0.3, 1.2, 2.4, 4.0, 6.0, 8.5]):
        up = np.clip(-elevation, 0, None) * 1.1 + lift * (1.0 + 0.25 * sway)
        column, row, _ = project(azimuth + np.float32(0.004) * sway, np.clip(up, 0.0, None))
        maps.append((np.clip(column, 0, WIDTH - 1), np.clip(row, 0, np.float32(HORIZON_ROW))))
    return tuple(maps)
