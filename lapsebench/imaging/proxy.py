"""From one decoded frame to its measure: tiles in linear light, a strip column and a small picture for playback."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from lapsebench.core.metering import COLS, ROWS, FrameMeasure
from lapsebench.core.transfer import linear_to_srgb

PROXY_LONG_SIDE = 960
"""Pixels of the long side of the playback picture."""
_TOP = 0.993  # JPEG coding leaves clipped areas a code or two under the top


def measure_frame(codes: NDArray[Any], linear: NDArray[np.float32], *, srgb: bool) -> FrameMeasure:
    """Return the measure of one upright frame.

    `codes`: (h, w, 3) uint8 or uint16 RGB as decoded; `linear`: (h, w, 3) float32 linear BT.709 light of the same pixels.
    `srgb`: whether the codes are sRGB ones, of whatever depth. Strip column and proxy are sRGB in any case.
    """
    return _measured(linear, at_top(codes), playback_codes(codes, linear, srgb=srgb))


def measure_light(linear: NDArray[np.float32], clipped: NDArray[np.bool_]) -> FrameMeasure:
    """Return the measure of one upright frame that was never codes: `linear` as above, `clipped` (h, w, 3)."""
    return _measured(linear, clipped, _shown_small(linear))


def _measured(linear: NDArray[np.float32], clipped: NDArray[np.bool_], small: NDArray[np.uint8]) -> FrameMeasure:
    height, width = linear.shape[:2]
    cols, rows = (COLS, ROWS) if width >= height else (ROWS, COLS)
    return FrameMeasure(
        tiles=tile_means(linear, rows, cols),
        clipped=tile_means(clipped.astype(np.float32), rows, cols),
        column=np.ascontiguousarray(small[:, small.shape[1] // 2]),
        proxy=_as_jpeg(small),
    )


def at_top(codes: NDArray[Any]) -> NDArray[np.bool_]:
    """Return which of uint8 or uint16 `codes`, any shape, are at the top."""
    top: NDArray[np.bool_] = codes >= top_code(codes.dtype)
    return top


def top_code(dtype: np.dtype[Any]) -> int:
    """Return the code of an integer type from which on it counts as at the top."""
    return round(_TOP * np.iinfo(dtype).max)


def tile_means(values: NDArray[np.float32], rows: int, cols: int) -> NDArray[np.float32]:
    """Return the means over `rows` x `cols` tiles: (h, w[, c]) -> (rows, cols[, c]); small frames repeat pixels."""
    height, width = values.shape[:2]
    small = height < rows or width < cols
    means = cv2.resize(values, (cols, rows), interpolation=cv2.INTER_NEAREST if small else cv2.INTER_AREA)
    return means.astype(np.float32, copy=False)


def playback_codes(codes: NDArray[Any], linear: NDArray[np.float32], *, srgb: bool) -> NDArray[np.uint8]:
    """Return the frame as 8-bit sRGB codes no longer than `PROXY_LONG_SIDE`, (h, w, 3); arguments as in `measure_frame`.

    8-bit sRGB codes are taken as they are; else the light is, each pixel clipped to 0..1 as it is in the film.
    """
    if srgb and codes.dtype == np.uint8:
        return _reduced(codes)
    return _shown_small(linear)


def _shown_small(linear: NDArray[np.float32]) -> NDArray[np.uint8]:
    light = _reduced(np.clip(linear, 0.0, 1.0))
    return np.rint(255 * linear_to_srgb(light)).astype(np.uint8)


def _reduced(pixels: NDArray[Any]) -> NDArray[Any]:
    """Return the area means of `pixels` (h, w, 3) at the proxy's size; nothing is enlarged."""
    height, width = pixels.shape[:2]
    scale = PROXY_LONG_SIDE / max(height, width)
    if scale >= 1:
        return pixels
    size = max(1, round(width * scale)), max(1, round(height * scale))
    return cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)


def _as_jpeg(codes: NDArray[np.uint8]) -> bytes:
    done, buffer = cv2.imencode(".jpg", codes[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 90])
    if not done:
        raise RuntimeError("the proxy could not be coded")
    return bytes(buffer)
