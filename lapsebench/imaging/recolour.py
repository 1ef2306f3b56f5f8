"""Gives small pictures that are coded already another white balance."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from lapsebench.core.balance import Matrix
from lapsebench.core.transfer import srgb_table
from lapsebench.imaging.apply import WHITE, codes_of_light


def recoloured(codes: NDArray[np.uint8], matrix: Matrix) -> NDArray[np.uint8]:
    """Return sRGB `codes` (..., 3) after `matrix` in their linear light; what leaves 0..1 is clipped."""
    light = np.asarray(cv2.transform(_linear(codes.reshape(-1, 1, 3)), np.array(matrix, np.float32)), dtype=np.float32)
    steps = np.rint(np.clip(light, 0.0, 1.0) * np.float32(WHITE)).astype(np.uint16)
    return codes_of_light(steps).reshape(codes.shape)


def _linear(codes: NDArray[np.uint8]) -> NDArray[np.float32]:
    return np.asarray(cv2.LUT(codes, srgb_table(256).astype(np.float32)), dtype=np.float32)
