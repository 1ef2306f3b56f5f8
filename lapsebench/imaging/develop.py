"""Develops RAW pictures to linear light: the same sums for every frame, in float, nothing automatic.

1.0 is the white that the `Development` of the shot names; light above it is kept, and so is noise below 0.
"""

from __future__ import annotations

from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from lapsebench.core.balance import Matrix, camera_to_rgb
from lapsebench.core.mosaic import Development, FullColour, Mosaic, RawPicture, spread
from lapsebench.imaging.binning import binned
from lapsebench.imaging.fullcolour import developed, halved
from lapsebench.imaging.highlights import colour_around, rebuild, saturate
from lapsebench.imaging.libraw import demosaic as fine_demosaic

Demosaic = Literal["fast", "fine"]

_SITES = np.array([0.25, 0.5, 0.25])
"""Weights of R, G and B in the mean of a mosaic's photosites."""
_TOP = 65535
_BAND_ROWS = {"fast": 96, "fine": 768}  # rows developed at one time: few stay in the processor's cache
_MARGIN = {"fast": 4, "fine": 24}  # rows around a band, more than the demosaicing looks at
_EDGE_AWARE = {
    (0, 1, 1, 2): cv2.COLOR_BayerRGGB2RGB_EA,
    (1, 0, 2, 1): cv2.COLOR_BayerGRBG2RGB_EA,
    (1, 2, 0, 1): cv2.COLOR_BayerGBRG2RGB_EA,
    (2, 1, 1, 0): cv2.COLOR_BayerBGGR2RGB_EA,
}


def half_size(raw: RawPicture, shot: Development) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Return linear light (h/2, w/2, 3) in the primaries of `shot`, and which camera channels are clipped there.

    Photosites are added up, not demosaiced (h/3, w/3 for 6 x 6 mosaics), so that light stays proportional to exposure and
    unbiased in the dark. Nothing is rebuilt: the mask (h/2, w/2, 3) tells where R, G or B of the camera are saturated.
    """
    gains = _gains(raw, shot)
    if isinstance(raw, FullColour):
        return halved(raw, gains, np.array(shot.matrix))
    return binned(raw, np.array(shot.matrix) * gains)


def grey(raw: RawPicture, shot: Development) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Return the mean of balanced photosites at half size (h/2, w/2, 1), and where one of them is clipped, (h/2, w/2)."""
    sites = np.tile(_SITES * _gains(raw, shot), (3, 1))
    light, clipped = halved(raw, np.ones(3), sites) if isinstance(raw, FullColour) else binned(raw, sites)
    return light[..., :1], np.asarray(clipped.any(axis=2))


def full_size(
    raw: RawPicture, shot: Development, *, demosaic: Demosaic = "fast", highlights: bool = True
) -> NDArray[np.float32]:
    """Return linear light (h, w, 3) in the primaries of `shot`.

    "fast" is OpenCV's edge-aware interpolation, "fine" LibRaw's AHD; 6 x 6 mosaics always go through LibRaw.
    `highlights`: whether saturated channels are rebuilt from the others; else they end at their top, which tints.
    """
    gains = _gains(raw, shot)
    if isinstance(raw, FullColour):
        return developed(raw, shot, gains, highlights=highlights)
    return _demosaiced(raw, shot, gains, demosaic, highlights=highlights)


def _demosaiced(
    mosaic: Mosaic, shot: Development, gains: NDArray[np.float64], demosaic: Demosaic, *, highlights: bool
) -> NDArray[np.float32]:
    tops = gains * np.subtract(mosaic.clip, mosaic.black_of_colour)
    colour = colour_around(mosaic, gains, tops) if highlights else None
    height, width = mosaic.codes.shape
    way: Demosaic = "fast" if demosaic == "fast" and mosaic.pattern.shape == (2, 2) else "fine"
    result = np.empty((height, width, 3), np.float32)
    for top in range(0, height, _BAND_ROWS[way]):
        end = min(top + _BAND_ROWS[way], height)
        first, last = max(0, top - _MARGIN[way]), min(end + _MARGIN[way], height)
        light = (_edge_aware if way == "fast" else _adaptive)(mosaic, shot, first, last)
        if colour is not None:
            saturate(light, mosaic, first, tops)
        light = light[top - first : end - first]
        if colour is not None:
            rebuild(light, _rows_of(colour, top, end, height, width), tops, mosaic.matrix)
        result[top:end] = camera_to_linear(light, shot.matrix)
    return result


def camera_to_linear(light: NDArray[np.float32], matrix: Matrix) -> NDArray[np.float32]:
    """Return balanced camera light (h, w, 3) in the primaries that `matrix` (see `camera_to_rgb`) leads to."""
    return np.asarray(cv2.transform(light, np.array(matrix, np.float32)), dtype=np.float32)


def _gains(raw: RawPicture, shot: Development) -> NDArray[np.float64]:
    """Return the light of one code above black, of camera R, G, B."""
    gains: NDArray[np.float64] = np.array(shot.multipliers) * (2.0**raw.baseline_ev / shot.scale)
    return gains


def _edge_aware(mosaic: Mosaic, shot: Development, first: int, end: int) -> NDArray[np.float32]:
    """Return balanced camera light of some rows by OpenCV; black is taken off after it, so that noise stays whole."""
    codes: Any = mosaic.codes[first:end]
    highest = float(mosaic.black.max())
    lift = highest - mosaic.black
    shift = max(0, int(np.log2(_TOP / (max(mosaic.white) + float(lift.max()) + 1))))  # OpenCV rounds: at finer steps
    lift = np.rint(lift * (1 << shift)).astype(np.uint16)
    codes = np.left_shift(np.minimum(codes, _TOP >> shift), shift)
    if lift.any():  # black differs from place to place: brought to one level, or edges would be seen in it
        codes = cv2.add(codes, spread(np.roll(lift, -first, axis=0), *codes.shape))
    first_colour, second, third, fourth = np.roll(mosaic.pattern, -first, axis=0).ravel().tolist()
    rgb: Any = cv2.demosaicing(codes, _EDGE_AWARE[first_colour, second, third, fourth])
    gains = _gains(mosaic, shot) / (1 << shift)
    return np.asarray(
        cv2.transform(rgb.astype(np.float32), np.column_stack([np.diag(gains), -gains * highest * (1 << shift)]))
    )


def _adaptive(mosaic: Mosaic, shot: Development, first: int, end: int) -> NDArray[np.float32]:
    """Return balanced camera light of some rows by LibRaw: sites balanced on a pedestal as high as the deepest noise."""
    balance = np.array(shot.multipliers)
    black = float(mosaic.black.max())
    pedestal = black * balance.max()
    step = _TOP / (pedestal + float((balance * (np.array(mosaic.white) - mosaic.black.min())).max()))
    rows, cols = (int(np.lcm(a, b)) for a, b in zip(mosaic.pattern.shape, mosaic.black.shape, strict=True))
    gain = np.roll(balance[spread(mosaic.pattern, rows, cols)], -first, axis=0) * step
    dark = np.roll(spread(mosaic.black, rows, cols), -first, axis=0)
    codes = mosaic.codes[first:end]
    sites = np.empty(codes.shape, np.uint16)
    for row in range(rows):
        for col in range(cols):
            light = codes[row::rows, col::cols] * np.float32(gain[row, col])
            light += np.float32(pedestal * step - dark[row, col] * gain[row, col])
            sites[row::rows, col::cols] = np.rint(np.clip(light, 0, _TOP))
    pattern = np.roll(mosaic.pattern, -first, axis=0)
    rgb = fine_demosaic(sites, pattern, camera_to_rgb(mosaic.matrix))
    unit = 2.0**mosaic.baseline_ev / (shot.scale * step)
    return np.asarray((rgb - np.float32(pedestal * step)) * np.float32(unit), dtype=np.float32)


def _rows_of(colour: NDArray[np.float32], top: int, end: int, height: int, width: int) -> NDArray[np.float32]:
    """Return rows `top` to `end` of cells enlarged to (height, width), without making the rest."""
    rows, cols = colour.shape[:2]
    scale = rows / height
    place: Any = np.array([[cols / width, 0, cols / width / 2 - 0.5], [0, scale, (top + 0.5) * scale - 0.5]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    size = (width, end - top)
    return np.asarray(cv2.warpAffine(colour, place, size, flags=flags, borderMode=cv2.BORDER_REPLICATE), dtype=np.float32)
