"""Holds decoded frames against what was sent to the encoder: how near they are, and whether they are the same picture."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

from lapsebench.core.filmframe import FilmFrame
from lapsebench.core.formats import FilmFormat

_BLOCK = 16
_LEAST_COARSE_DB = 28.0  # the same of means over blocks of 16 x 16 samples: farther off is another picture
_MOST_SHIFT, _SHIFT_OF_RMS = 0.01, 0.2  # of a plane's mean, of full scale and of the error: wrong range or matrix shift more
_MOST_STRETCH, _LEAST_CONTRAST = 0.08, 0.02  # full range taken for limited is 0.16; sd it is told from, of full scale


def frame_psnr(file: Path, sent: FilmFrame, form: FilmFormat) -> float:
    """Return how near a single frame's file comes to what was sent, as in `FilmCheck`; -inf where it can't be read."""
    try:
        with av.open(file) as container:
            planes = planes_of(next(container.decode(video=0)))
    except (av.FFmpegError, OSError, ValueError, StopIteration):
        return float("-inf")
    whole = [np.stack([planes[2], planes[0], planes[1]], axis=-1)] if len(planes) == 3 else planes
    return psnr_of([plane.reshape(sent.planes[0].shape) for plane in whole], sent, form)


def planes_of(frame: av.VideoFrame) -> list[NDArray[Any]]:
    """Return the sample planes; packed ones are (h, 3 w)."""
    name = frame.format.name
    kind = {"gbrpf32le": "<f4", "gbrpf16le": "<f2"}.get(name, "<u2" if frame.format.components[0].bits > 8 else "u1")
    across = 3 if len(frame.planes) == 1 else 1
    rows = [np.frombuffer(memoryview(plane), kind).reshape(plane.height, -1) for plane in frame.planes]
    return [row[:, : across * plane.width] for row, plane in zip(rows, frame.planes, strict=True)]


def psnr_of(found: list[NDArray[Any]], sent: FilmFrame, form: FilmFormat) -> float:
    """Return the worst peak signal-to-noise ratio of the planes, dB; -inf where shapes differ or a plane's mean is off."""
    top = float(2**form.facts.bits - 1)
    worst = float("inf")
    for one, other in zip(found, sent.planes, strict=True):
        if one.shape != other.shape:
            return float("-inf")
        off = one.astype(np.float32) - other.astype(np.float32)
        shift = abs(float(off.mean(dtype=np.float64)))
        coarse_off = _block_means(off)
        coarse_power = float(np.square(coarse_off).mean(dtype=np.float64))
        stretch = _stretch(_block_means(other.astype(np.float32)), coarse_off, top)
        power = float(np.square(off, out=off).mean(dtype=np.float64))
        psnr, coarse = _db(power, top), _db(coarse_power, top)
        if coarse < _LEAST_COARSE_DB or stretch > _MOST_STRETCH or shift > _MOST_SHIFT * top + _SHIFT_OF_RMS * power**0.5:
            return float("-inf")
        worst = min(worst, psnr)
    return worst


def _stretch(sent: NDArray[np.float32], off: NDArray[np.float32], top: float) -> float:
    """Return by what share contrast changed: the slope of errors over what was sent; 0 where that is too even to tell."""
    apart = sent - sent.mean()
    power = float(np.square(apart).mean(dtype=np.float64))
    return abs(float((apart * off).mean(dtype=np.float64))) / power if power > (_LEAST_CONTRAST * top) ** 2 else 0.0


def _db(power: float, top: float) -> float:
    return 10 * float(np.log10(top**2 / power)) if power else float("inf")


def _block_means(plane: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return means over blocks of 16 x 16 samples; what is left over at the right and the bottom does not count."""
    height, width = plane.shape[0] // _BLOCK, plane.shape[1] // _BLOCK
    blocks = plane[: height * _BLOCK, : width * _BLOCK].reshape(height, _BLOCK, width, _BLOCK, -1)
    return np.asarray(blocks.mean(axis=(1, 3))) if blocks.size else plane
