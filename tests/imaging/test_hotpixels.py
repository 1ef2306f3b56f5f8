"""Hot pixels are found and mended; stars that move and lamps that stand still are not."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from dng import Sensor, read_mosaic, record, write_dng
from numpy.typing import NDArray

from lapsebench.core.mosaic import Mosaic
from lapsebench.imaging.hotpixels import HotPixels, mend

XTRANS = "GBGGRG" + "RGRBGB" + "GBGGRG" + "GRGGBG" + "BGBRGR" + "GRGGBG"
HEIGHT, WIDTH = 480, 720


def point(light: NDArray[Any], y: float, x: float, *, peak: float, sigma: float, colour: Any = (1, 1, 1)) -> None:
    """Add a blurred point of light."""
    here = np.s_[int(y) - 9 : int(y) + 10, int(x) - 9 : int(x) + 10]
    rows, cols = np.mgrid[here]
    light[here] += peak * np.exp(-((rows - y) ** 2 + (cols - x) ** 2) / (2 * sigma**2))[..., None] * np.array(colour)


def night(tmp_path: Path, pattern: str) -> tuple[list[Mosaic], set[tuple[int, int]]]:
    """Return 8 frames of moving stars over still lamps on a sensor with 200 hot pixels, and where those are."""
    random = np.random.default_rng(3)
    sensor = Sensor(pattern=pattern, full_well=3000)
    lamps = [
        (y, x, random.uniform(0.05, 0.9), random.uniform(0.8, 2.5)) for y in (300, 350, 400, 450) for x in range(40, 700, 80)
    ]
    tints = [(1, 1, 1), (1, 0.5, 0.2), (1, 0.1, 0.05), (0.3, 0.4, 1.0)]
    rows, cols = np.divmod(random.choice(270 * (WIDTH - 20), 200, replace=False), WIDTH - 20)
    rows, cols = rows + 10, cols + 10
    heat = random.uniform(0.04, 0.6, 200) * (sensor.white - 512)
    stars = random.uniform((20, 20, 0.6), (220, WIDTH - 60, 1.2), (300, 3))
    brightness = np.minimum(random.pareto(1.0, 300) * 0.03, 1)
    frames = []
    for i in range(8):
        light = np.full((HEIGHT, WIDTH, 3), 0.01) * [0.7, 1, 0.9]
        for (y, x, sigma), peak in zip(stars, brightness, strict=True):
            point(light, y + 2.7 * i, x + 1.9 * i, peak=peak, sigma=sigma)
        for k, (y, x, peak, sigma) in enumerate(lamps):
            point(light, y + 0.37 * (k % 3), x + 0.29 * (k % 4), peak=peak, sigma=sigma, colour=tints[k % 4])
        codes = record(light, sensor, random=random)
        codes[rows, cols] = np.minimum(codes[rows, cols] + heat, sensor.white).astype(np.uint16)
        frames.append(read_mosaic(write_dng(tmp_path / "a.dng", codes, sensor)))
    return frames, set(zip(rows.tolist(), cols.tolist(), strict=True))


@pytest.mark.parametrize("pattern", ["RGGB", "GBRG", XTRANS])
def test_hot_pixels_are_found_and_nothing_else(tmp_path: Path, pattern: str) -> None:
    frames, true = night(tmp_path, pattern)
    hot = HotPixels.learn(frames)
    found = set(zip(hot.rows.tolist(), hot.cols.tolist(), strict=True))
    print(f"{pattern}: {len(found & true)} of {len(true)} found, {len(found - true)} false")
    assert len(found & true) >= 196  # a few lie beside another one or under a star's path
    assert not found - true
    mended = mend(frames[4], hot)
    changed = np.argwhere(mended.codes != frames[4].codes)
    assert {(int(y), int(x)) for y, x in changed} <= found
    left = np.array([mended.codes[at] for at in found & true], float)
    assert np.median(left) < np.median(frames[4].codes) * 1.2


def test_a_mended_pixel_has_the_median_of_its_neighbours(tmp_path: Path) -> None:
    frames, _ = night(tmp_path, "RGGB")
    codes = frames[0].codes
    hot = HotPixels(np.array([100, 0]), np.array([100, 0]), codes.shape)
    mended = mend(frames[0], hot).codes
    around = [codes[100 + i, 100 + j] for i in (-2, 0, 2) for j in (-2, 0, 2) if i or j]
    assert abs(float(mended[100, 100]) - np.median(around)) <= 0.5
    assert mended[0, 0] in range(int(codes[:3, :3].min()), int(codes[:3, :3].max()) + 1)


def test_frames_that_do_not_belong_together_are_refused(tmp_path: Path) -> None:
    frames, _ = night(tmp_path, "RGGB")
    with pytest.raises(ValueError, match="3 frames"):
        HotPixels.learn(frames[:2])
    other = replace(frames[0], codes=frames[0].codes[:100])
    with pytest.raises(ValueError, match="one camera"):
        HotPixels.learn([*frames[:3], other])
    with pytest.raises(ValueError, match="don't fit"):
        mend(other, HotPixels.learn(frames[:3]))
