"""Turns a picture into the samples of a film format, in float, rounded once at the end.

A picture is (h, w, 3): uint8 sRGB codes, or float32 linear light of BT.709 primaries, 1 = white. Codes are rounded plainly,
so that a frame with no gain shows as its still does; light is rounded to 8 or 10 bits with `dither`.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from lapsebench.core.filmframe import FilmFrame, LightLevel
from lapsebench.core.formatfacts import HLG_TRANSFER, LINEAR_TRANSFER, FormatFacts, Sampling
from lapsebench.core.formats import FilmFormat
from lapsebench.core.hdr import PEAK_NITS, WHITE_NITS, peak_share
from lapsebench.core.transfer import srgb_table
from lapsebench.core.videocodes import WEIGHTS, hlg_share_table, places, signal_table, to_bt2020, ycbcr_matrix
from lapsebench.imaging.dither import dither

Light = NDArray[np.float32]

_BAND_ROWS = 64


def film_frame(picture: NDArray[Any], form: FilmFormat, number: int) -> FilmFrame:
    """Return the picture as `form` codes it, as frame `number` of the film.

    Planes: Y, Cb, Cr of Y'CbCr; G, B, R of FFV1; one (h, w, 3) for the others. uint8, uint16, or half floats for EXR.
    """
    facts = form.facts
    if facts.transfer == LINEAR_TRANSFER:
        return FilmFrame((_light_of(picture).astype(np.float16),))
    if facts.hdr:
        signal, level = _hdr_signal(_light_of(picture), facts)
        return FilmFrame(tuple(_rounded(_ycbcr(signal, facts, 1.0), facts, number, 0)), level)
    if picture.dtype == np.uint8 and facts.pixels == "rgb24":
        return FilmFrame((np.ascontiguousarray(picture),))
    if facts.sampling is not Sampling.RGB:
        return FilmFrame(_banded(picture, facts, number))
    is_light = picture.dtype != np.uint8
    signal = _looked_up(picture, facts.transfer) if is_light else picture
    codes = _rgb(signal, facts.bits, 1.0 if is_light else 255.0, number if is_light else None)
    return FilmFrame(tuple(np.ascontiguousarray(codes[..., c]) for c in (1, 2, 0)) if facts.pixels[0] == "g" else (codes,))


def _light_of(picture: NDArray[Any]) -> Light:
    if picture.dtype == np.uint8:
        return np.asarray(cv2.LUT(picture, srgb_table(256)), np.float32)
    return np.asarray(picture, np.float32)


def _looked_up(light: Light, transfer: int) -> Light:
    return np.asarray(np.take(signal_table(transfer), places(light)), np.float32)


def _rgb(signal: NDArray[Any], bits: int, top: float, number: int | None) -> NDArray[Any]:
    """Return full-range R'G'B' codes, (h, w, 3); 8 bits of light are dithered, 16 need none."""
    scaled = signal.astype(np.float32) * np.float32((2**bits - 1) / top)
    if bits == 8 and number is not None:
        for c in range(3):
            scaled[..., c] += dither(signal.shape[:2], number, c)
    return np.asarray(np.rint(scaled).astype(np.uint8 if bits == 8 else np.uint16))


def _hdr_signal(light: Light, facts: FormatFacts) -> tuple[Light, LightLevel]:
    """Return the PQ or HLG signal (h, w, 3) of light, BT.2020, and its level."""
    shown: Any = np.maximum(cv2.transform(light, to_bt2020() * np.float32(WHITE_NITS / PEAK_NITS)), 0)
    red, green, blue = cv2.split(shown)
    strongest: Any = cv2.max(cv2.max(red, green), blue)
    if strongest.max() > 0.5:
        share = peak_share(strongest)
        shown *= share[..., None]
        strongest *= share
    level = LightLevel(PEAK_NITS * float(strongest.max()), PEAK_NITS * float(strongest.mean(dtype=np.float64)))
    if facts.transfer == HLG_TRANSFER:
        luminance: Any = cv2.transform(shown, np.array([WEIGHTS[facts.matrix]], np.float32))
        shown *= np.take(hlg_share_table(), places(luminance))[..., None]
    return _looked_up(shown, facts.transfer), level


def _banded(picture: NDArray[Any], facts: FormatFacts, number: int) -> tuple[NDArray[Any], ...]:
    """Return the planes Y, Cb, Cr of a picture for SDR, worked out in bands that stay in the processor's cache."""
    is_light = picture.dtype != np.uint8
    planes = tuple(np.empty(shape, facts.sample) for shape in facts.shapes((picture.shape[1], picture.shape[0])))
    for top in range(0, picture.shape[0], _BAND_ROWS):
        band = picture[top : top + _BAND_ROWS]
        codes = _ycbcr(_looked_up(band, facts.transfer) if is_light else band, facts, 1.0 if is_light else 255.0)
        for plane, part in zip(planes, _rounded(codes, facts, number if is_light else None, top), strict=True):
            first = top * plane.shape[0] // picture.shape[0]
            plane[first : first + part.shape[0]] = part
    return planes


def _ycbcr(signal: NDArray[Any], facts: FormatFacts, top: float) -> list[Any]:
    """Return Y, Cb, Cr of R'G'B' in 0..`top` in codes, not rounded, chroma at its places."""
    light, rows = signal.astype(np.float32, copy=False), _matrix(facts.matrix, facts.bits, top)
    luma, blue, red = (cv2.transform(light, row[None]) for row in rows)
    return [luma, _subsampled(blue, facts), _subsampled(red, facts)]


def _rounded(codes: list[Any], facts: FormatFacts, number: int | None, top: int) -> list[NDArray[Any]]:
    """Return the planes rounded, dithered as those of frame `number` if there is one; their first is row `top` of luma."""
    if number is not None:
        for i, plane in enumerate(codes):
            row = top * plane.shape[0] // codes[0].shape[0]
            codes[i] = cv2.add(plane, dither(plane.shape, number, i, row=row))
    return [np.rint(plane).astype(facts.sample) for plane in codes]


@lru_cache(maxsize=8)
def _matrix(matrix: int, bits: int, top: float) -> NDArray[np.float32]:
    whole = ycbcr_matrix(matrix, bits)
    whole[:, :3] /= top
    return whole


def _subsampled(chroma: Any, facts: FormatFacts) -> Any:
    """Return chroma (h, w) at the places its samples have: on every second column of luma (1, 2, 1), and of rows between
    two of them (left) or on every second (top left). Rec. ITU-T H.273 figure 1, types 0 and 2.
    """
    if facts.sampling is Sampling.QUARTER and not facts.top_left:
        chroma = cv2.addWeighted(chroma[::2], 0.5, chroma[1::2], 0.5, 0)
    three, one = np.array([0.25, 0.5, 0.25], np.float32), np.ones(1, np.float32)
    both = facts.sampling is Sampling.QUARTER and facts.top_left
    smooth = cv2.sepFilter2D(chroma, -1, three, three if both else one, borderType=cv2.BORDER_REPLICATE)
    return np.ascontiguousarray(smooth[:: 2 if both else 1, ::2])
