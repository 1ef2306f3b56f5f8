"""Real all-sky aurora at constant exposure, with steps and flicker of known size laid on in linear light.

Frames of the University of Calgary's SMILE and THEMIS imagers, thumbnails from public notebooks.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from lapsebench.core.sequence import Frame, Shot
from lapsebench.core.transfer import linear_to_srgb, srgb_table
from lapsebench.imaging.proxy import measure_frame
from lapsebench.io.read import read_picture
from lapsebench.services.shotlight import light_of_shot

Floats = NDArray[np.float64]
SHUTTERS = {0.0: 8.0, -1 / 3: 6.0, -2 / 3: 5.0, -1.0: 4.0, -4 / 3: 3.2, -5 / 3: 2.5, -2.0: 2.0, -7 / 3: 1.6, -8 / 3: 1.3}


def stepped_night(folder: Path, seed: int) -> tuple[list[NDArray[np.uint8]], list[Frame], Floats]:
    """Return 8-bit frames re-exposed by a staircase of whole clicks, their metadata, and the exposure really laid on."""
    random = np.random.default_rng(seed)
    scenes = [read_picture(path).codes / 255 * 0.9 + 0.02 for path in sorted(folder.glob("*.png"))]
    clicks = np.zeros(len(scenes), int)
    for change in range(8, len(scenes), 12):
        clicks[change:] = np.clip(clicks[change] + random.choice([-3, -2, -1, 1, 2, 3]), -8, 0)
    bias = {click: random.normal(0, 0.05) for click in range(-8, 1)}
    received = clicks / 3 + [bias[click] for click in clicks] + random.normal(0, 0.04, len(scenes))
    pictures = []
    for scene, exposure in zip(scenes, received, strict=True):
        light = scene * 2.0**exposure
        noisy = light + random.normal(0, 0.004, light.shape) * np.sqrt(light + 0.01)
        pictures.append(np.rint(linear_to_srgb(np.clip(noisy, 0, 1)) * 255).astype(np.uint8))
    by_click = {round(3 * stop): shutter for stop, shutter in SHUTTERS.items()}
    frames = [Frame(Path(f"{i:04}.png"), None, by_click[click], 2.8, 1600.0) for i, click in enumerate(clicks)]
    return pictures, frames, received


@pytest.mark.parametrize("known", [True, False], ids=["with settings", "without"])
@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("name", ["aurora_smile", "aurora_themis_gill"])
def test_laid_on_steps_are_found(
    shared_data: Path, name: str, seed: int, known: bool, record_property: Callable[[str, object], None]
) -> None:
    pictures, frames, laid_on = stepped_night(shared_data / name, seed)
    if not known:
        frames = [Frame(frame.path) for frame in frames]
    measures = [measure_frame(codes, srgb_table(256)[codes], srgb=True) for codes in pictures]
    light = light_of_shot(Shot(0, len(frames) - 1), frames, measures).light
    off = np.diff(light.received_ev - laid_on)
    changes = np.abs(np.diff(laid_on)) > 0.2
    record_property("jitter", float(off.std()))
    print(f"{name} seed {seed} known {known}: jitter {off.std():.4f}, steps {np.abs(off[changes]).mean():.4f} stop")
    assert off.std() <= 0.015
    assert np.abs(off[changes]).mean() <= 0.03
