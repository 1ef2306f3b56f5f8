"""Real aurora frames at one constant exposure, for known steps and flicker to be laid on."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from nights.camera import Setting
from nights.waves import Image, Random

FOLDER = Path(__file__).resolve().parents[3].parent / "shared" / "data"
"""Where the real files for checks are, beside the checkout."""
_HEADROOM = 0.25  # linear light of the frames' white at a camera exposure of 0 stops
_STARTING = Setting(0, 6, 6)


def real_scenes(name: str, count: int) -> list[Image]:
    """Return the first `count` frames of the folder `name` as linear light, (h, w, 3): their codes are linear already."""
    paths = sorted((FOLDER / name).glob("*.png"))[:count]
    if not paths:
        raise FileNotFoundError(f"the real files for checks are not beside the project: {FOLDER / name}")
    return [_scene(path) for path in paths]


def _scene(path: Path) -> Image:
    codes = cv2.imread(str(path), cv2.IMREAD_COLOR)
    if codes is None:
        raise ValueError(path)
    light = codes[..., ::-1].astype(np.float32) / 255 * np.float32(_HEADROOM)
    return cv2.resize(light, None, fx=2, fy=2, interpolation=cv2.INTER_LINEAR).astype(np.float32)


def real_settings(count: int, random: Random) -> list[Setting]:
    """Return settings that change every 8 to 16 frames by one to five clicks, within two stops up and down."""
    clicks, settings = 0, []
    left = int(random.integers(8, 16))
    for _ in range(count):
        if left == 0:
            step = int(random.integers(1, 6)) * (1 if clicks <= 0 else -1)
            clicks = int(np.clip(clicks + step, -6, 5))
            left = int(random.integers(8, 16))
        left -= 1
        settings.append(Setting(_STARTING.time + clicks, _STARTING.iso, _STARTING.aperture))
    return settings
