"""Night-like stills for the benches: a textured sky and ground with grain, under one staircase of shutter speeds."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

LARGE = (6000, 4000)
"""Pixels of a still of 24 megapixels."""
_STAIRS = (8.0, 4.0, 2.0, 4.0)  # seconds, a quarter of the stills each


def write_stills(folder: Path, count: int, size: tuple[int, int]) -> list[Path]:
    """Write `count` JPEGs of `size` = (width, height), 10 s apart by their EXIF, and return their paths."""
    folder.mkdir()
    random = np.random.default_rng(5)
    scene, grain = _scene(random, size), random.normal(0, 3, (size[1], size[0], 3)).astype(np.float32)
    return [_write(folder, i, _STAIRS[i * len(_STAIRS) // count], scene, grain) for i in range(count)]


def _write(folder: Path, i: int, shutter_s: float, scene: NDArray[Any], grain: NDArray[Any]) -> Path:
    """Write the still `i`: the scene as it was exposed, the sky drifted on, under grain of its own."""
    exposed = scene * np.float32((shutter_s / 8.0) ** (1 / 2.2))
    horizon = scene.shape[0] * 2 // 3
    exposed[:horizon] = np.roll(exposed[:horizon], 4 * i, axis=1)
    codes = np.clip(exposed + np.roll(grain, 101 * i, axis=(0, 1)), 0, 255).astype(np.uint8)
    exif = Image.Exif()
    tags = exif.get_ifd(0x8769)
    tags[0x829A], tags[0x829D], tags[0x8827] = shutter_s, 2.8, 1600
    tags[0x9003] = f"2026:02:11 {20 + i // 360:02}:{i // 6 % 60:02}:{i % 6 * 10:02}"
    path = folder / f"N{i:04}.jpg"
    Image.fromarray(codes).save(path, quality=92, exif=exif)
    return path


def _scene(random: np.random.Generator, size: tuple[int, int]) -> NDArray[Any]:
    """Return codes (h, w, 3) as floats: dark ground, a green arc in the sky, texture of every scale, stars."""
    width, height = size
    y = np.linspace(0, 1, height, dtype=np.float32)[:, None, None]
    arc = 110 * np.exp(-(((y - 0.35) / 0.12) ** 2)) * np.array([0.3, 1.0, 0.5], np.float32)
    scene: NDArray[Any] = 35 + arc + np.zeros((1, width, 1), np.float32)
    for cells in (4, 16, 64, 256):
        texture = random.normal(0, 8, (cells * 2 // 3, cells, 3)).astype(np.float32)
        scene += cv2.resize(texture, size, interpolation=cv2.INTER_CUBIC)
    stars = random.integers(0, (height // 2, width), (width * height // 20_000, 2))
    scene[stars[:, 0], stars[:, 1]] += 120
    return scene
