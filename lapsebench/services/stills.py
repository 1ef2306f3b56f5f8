"""Opens the still of a frame, finished picture or RAW, for measuring and for showing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.balance import Balance, Multipliers
from lapsebench.core.metering import FrameMeasure
from lapsebench.core.mosaic import Mosaic, RawPicture, development
from lapsebench.core.response import Response, any_estimated, through
from lapsebench.core.sequence import Frame
from lapsebench.core.transfer import srgb_table
from lapsebench.imaging.develop import full_size, grey, half_size
from lapsebench.imaging.framing import Box, cut
from lapsebench.imaging.hotpixels import HotPixels, mend
from lapsebench.imaging.proxy import measure_frame, measure_light
from lapsebench.imaging.starpicture import StarPicture, at_point_size, star_picture
from lapsebench.io.clip import read_clip
from lapsebench.io.icc import light_table
from lapsebench.io.kinds import is_raw
from lapsebench.io.raw import read_raw
from lapsebench.io.read import Picture, read_picture, to_linear

Float32s = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Developed:
    """A RAW still, developed: `light` (h, w, 3) linear BT.709, 1 = white, with its headroom above and its noise below 0."""

    light: Float32s


Still = Picture | Developed


@dataclass(frozen=True, slots=True)
class Care:
    """How RAW is developed besides its white balance: `fine` demosaicing, and the `hot` pixels to mend."""

    fine: bool = False
    hot: HotPixels | None = None


def read_still(frame: Frame, *, min_long_side: int | None = None, care: Care | None = None) -> Still:
    """Return the still of a frame as it is shown, RAW at full size and in the frame's white balance. Raises FrameError."""
    if not is_raw(frame.path):
        return _picture(frame, min_long_side)
    raw, care = read_raw(frame.path), care or Care()
    if care.hot is not None and isinstance(raw, Mosaic) and care.hot.shape == raw.codes.shape:
        raw = mend(raw, care.hot)
    shot = development(raw, _shown(frame, raw))
    return Developed(full_size(raw, shot, demosaic="fine" if care.fine else "fast"))


def measure(frame: Frame, *, min_long_side: int) -> FrameMeasure:
    """Return the measure of a frame's still, decoded no smaller than `min_long_side` px; RAW from the mosaic itself.

    Raises FrameError.
    """
    if is_raw(frame.path):
        return measure_light(*_binned(frame))
    picture = _picture(frame, min_long_side)
    return measure_frame(picture.codes, to_linear(picture), srgb=picture.is_srgb)


def star_light(frame: Frame, responses: Sequence[Response]) -> StarPicture:
    """Return a still as stars are looked for in it.

    The light is gathered from every px at full size: to average codes first, as a reduced decoding does, dims stars the more
    the brighter they are. `responses`: those of R, G and B, the camera's curve. RAW gives
    the mean of its photosites in balance: primaries of film would mix channels and add to the noise. Raises FrameError.
    """
    if is_raw(frame.path):
        raw = read_raw(frame.path)
        light, full = grey(raw, development(raw, _multipliers(frame, raw)))
        return StarPicture(*at_point_size(light[..., 0], full), srgb_table(_RAW_LEVELS))
    picture = _picture(frame, None)
    levels = int(np.iinfo(picture.codes.dtype).max) + 1
    table = light_table(picture.profile, levels)
    matrix = picture.profile.matrix
    shares = np.full(3, 1 / 3) if matrix is None else np.array(matrix).mean(axis=0)
    light = (through(table, responses) if any_estimated(responses) else table) * shares.astype(np.float32)
    return star_picture(picture.codes, light)


def _picture(frame: Frame, min_long_side: int | None) -> Picture:
    if frame.part is not None:
        return read_clip(frame.path, frame.part)
    return read_picture(frame.path, min_long_side=min_long_side)


def _binned(frame: Frame) -> tuple[Float32s, NDArray[np.bool_]]:
    """Return the light of a RAW still without demosaicing, and where it is clipped, (h, w, 3) each.

    Where any colour of the sensor is full, all three are. Beyond white there is no more that a film can show.
    """
    raw = read_raw(frame.path)
    light, full = half_size(raw, development(raw, _multipliers(frame, raw)))
    return light, full.any(axis=2, keepdims=True) | (light > 1)


def look_of(frame: Frame) -> object:
    """Return what, besides its file, the measure of a frame depends on; None for a plain still."""
    return frame.balance if frame.part is None else ("part", frame.part)


def plain(still: Still) -> bool:
    """Return whether a still is of 8-bit sRGB codes, which tables serve."""
    return isinstance(still, Picture) and still.codes.dtype == np.uint8 and still.is_srgb


def size_of(still: Still) -> tuple[int, int]:
    """Return width and height, pixels."""
    pixels: NDArray[Any] = still.light if isinstance(still, Developed) else still.codes
    return pixels.shape[1], pixels.shape[0]


def cut_still(still: Still, box: Box) -> Still:
    """Return the part of a still within a box."""
    if isinstance(still, Developed):
        return Developed(cut(still.light, box))
    return replace(still, codes=cut(still.codes, box))


def _multipliers(frame: Frame, raw: RawPicture) -> Multipliers:
    return frame.balance or Balance().for_camera(raw.matrix, raw.daylight)


def _shown(frame: Frame, raw: RawPicture) -> Multipliers:
    return frame.shown_balance or _multipliers(frame, raw)


_RAW_LEVELS = 65536  # finer than any code that could round a star away
