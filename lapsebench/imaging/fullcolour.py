"""Develops RAW pictures that have all colours in every pixel: linear DNG, and sensors without colours."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from lapsebench.core.mosaic import Development, FullColour
from lapsebench.imaging.highlights import colour_in_cells, rebuild, sound_places

Floats = NDArray[np.float32]
_BAND_ROWS = 256


def halved(raw: FullColour, gains: NDArray[np.float64], matrix: NDArray[np.float64]) -> tuple[Floats, NDArray[np.bool_]]:
    """Return `matrix` (3, 3) @ `gains` (3,) * (code - black), means of 2 x 2 pixels, (h/2, w/2, 3), and what clips there.

    An odd last row or column is left out.
    """
    height, width = raw.codes.shape[0] // 2, raw.codes.shape[1] // 2
    light, clipped = np.empty((height, width, 3), np.float32), np.empty((height, width, 3), bool)
    affine = np.column_stack([matrix * gains, -(matrix * gains) @ np.array(raw.black)])
    for top in range(0, height, _BAND_ROWS):
        codes = raw.codes[2 * top : 2 * min(top + _BAND_ROWS, height), : 2 * width]
        rows = slice(top, top + codes.shape[0] // 2)
        means = cv2.resize(codes.astype(np.float32), (width, codes.shape[0] // 2), interpolation=cv2.INTER_AREA)
        light[rows] = cv2.transform(means, affine)
        full = codes >= np.ceil(np.array(raw.clip))
        clipped[rows] = full[::2, ::2] | full[1::2, ::2] | full[::2, 1::2] | full[1::2, 1::2]
    return light, clipped


def developed(raw: FullColour, shot: Development, gains: NDArray[np.float64], *, highlights: bool) -> Floats:
    """Return linear light (h, w, 3) in the primaries of `shot`; see `develop.full_size`."""
    tops = gains * np.subtract(raw.clip, raw.black)
    colour = _colour_around(raw, gains, tops) if highlights else None
    height, width = raw.codes.shape[:2]
    light = np.empty(raw.codes.shape, np.float32)
    for top in range(0, height, _BAND_ROWS):
        band = light[top : top + _BAND_ROWS]
        band[:] = (raw.codes[top : top + _BAND_ROWS] - np.array(raw.black, np.float32)) * gains.astype(np.float32)
        if colour is not None:
            rows = (np.arange(top, top + band.shape[0]) + 0.5) * colour.shape[0] / height - 0.5
            cols = (np.arange(width) + 0.5) * colour.shape[1] / width - 0.5
            x, y = np.meshgrid(cols.astype(np.float32), rows.astype(np.float32))
            around = cv2.remap(colour, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
            rebuild(band, np.asarray(around, dtype=np.float32), tops, raw.matrix)
        band[:] = cv2.transform(band, np.array(shot.matrix, np.float32))
    return light


def _colour_around(raw: FullColour, gains: NDArray[np.float64], tops: NDArray[np.float64]) -> Floats | None:
    light, clipped = halved(raw, gains, np.eye(3))
    return colour_in_cells(light, sound_places(light, clipped, tops), tops) if clipped.any() else None
