"""Opens a camera's RAW file with LibRaw: the mosaic as recorded, its levels and colours, or the reason why there is none."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import cv2
import numpy as np
import rawpy
from numpy.typing import NDArray

from lapsebench.core.balance import Matrix, Multipliers, as_matrix, rgb_to_xyz
from lapsebench.core.mosaic import FullColour, Kind, Mosaic, RawPicture, spread
from lapsebench.errors import FrameError
from lapsebench.io.dngtags import DngTags, read_dng_tags
from lapsebench.io.layout import COPY_AGAIN, DEVELOP, MAX_PIXELS, no_access
from lapsebench.io.rawcheck import histogram, unsound
from lapsebench.io.rawother import XYZ, developed
from lapsebench.io.saturation import saturation

Taken = TypeVar("Taken")
_LEAST_BITS = 0.1  # of a file per photosite: the strongest lossy coding of a black frame has more


def read_raw(path: Path) -> RawPicture:
    """Decode a RAW file: upright, to its mosaic, or to full colour: a linear DNG, or a sensor of another kind.

    Raises FrameError, with the reason in words, where the file is missing, damaged, cut short or of a kind not read.
    """
    return _opened(path, _picture)


@dataclass(frozen=True, slots=True)
class RawColour:
    """What a RAW file tells of its colours; see `Mosaic`."""

    matrix: Matrix
    as_shot: Multipliers | None
    daylight: Multipliers | None


def read_colour(path: Path) -> RawColour:
    """Return what a RAW file tells of its colours. Raises FrameError as `read_raw` does."""

    def colour(raw: rawpy.RawPy, tags: DngTags, name: str) -> RawColour:
        del name
        if _is_other(raw, tags):
            return RawColour(XYZ, None, None)
        return RawColour(_camera_matrix(raw, tags), _as_shot(raw, tags), _multipliers(raw.daylight_whitebalance))

    return _opened(path, colour)


def _opened(path: Path, take: Callable[[rawpy.RawPy, DngTags, str], Taken]) -> Taken:
    """Return what `take` makes of an unpacked file and its name; every way to fail becomes a FrameError."""
    name = path.name
    try:
        with path.open("rb"):
            size = path.stat().st_size
    except OSError as error:
        raise no_access(name, error) from error
    if not size:
        raise FrameError(f"{name} is empty.", COPY_AGAIN)
    tags = read_dng_tags(path)
    if tags is not None and tags.ends_at > size:
        raise FrameError(f"{name} ends early: the file is cut short.", COPY_AGAIN)
    try:
        with rawpy.RawPy() as raw:
            raw.open_file(str(path))
            _check_size(raw, size, name)
            raw.unpack()
            return take(raw, tags or DngTags(), name)
    except rawpy.LibRawFileUnsupportedError as error:
        raise FrameError(f"{name} is a RAW file of a kind that is not read, or it is damaged.", DEVELOP) from error
    except (rawpy.LibRawTooBigError, rawpy.LibRawUnsufficientMemoryError, MemoryError) as error:
        raise FrameError(f"{name} claims more pixels than there is memory for.", DEVELOP) from error
    except rawpy.LibRawIOError as error:
        raise FrameError(f"{name} ends early: the file is cut short.", COPY_AGAIN) from error
    except rawpy.LibRawError as error:
        raise FrameError(f"{name} is damaged and can't be decoded.", COPY_AGAIN) from error


def _check_size(raw: rawpy.RawPy, size: int, name: str) -> None:
    width, height = raw.sizes.raw_width, raw.sizes.raw_height
    if width * height > MAX_PIXELS:
        raise FrameError(f"{name} claims {width} x {height} pixels, too many to be true.", DEVELOP)
    if 8 * size < _LEAST_BITS * width * height:
        raise FrameError(f"{name} ends early: {size} bytes can't hold its {width} x {height} pixels.", COPY_AGAIN)


def _picture(raw: rawpy.RawPy, tags: DngTags, name: str) -> RawPicture:
    if raw.sizes.pixel_aspect != 1.0:
        raise FrameError(f"{name} has pixels that are not square, which is not read.", DEVELOP)
    if raw.raw_type == rawpy.RawType.Flat and raw.num_colors == 1:
        return _full_colour(raw, raw.raw_image_visible, tags, name)
    if raw.raw_type == rawpy.RawType.Stack and raw.num_colors == 3 and tags.linear:
        return _full_colour(raw, raw.raw_image_visible[..., :3], tags, name)
    return developed(raw, name) if _is_other(raw, tags) else _mosaic(raw, tags, name)


def _is_other(raw: rawpy.RawPy, tags: DngTags) -> bool:
    """Whether the sensor has neither a mosaic of red, green and blue nor one colour nor linear light already."""
    if raw.raw_type == rawpy.RawType.Flat:
        return raw.num_colors != 1 and (raw.num_colors != 3 or raw.color_desc != b"RGBG" or raw.raw_pattern is None)
    return not (raw.num_colors == 3 and tags.linear)


def _full_colour(raw: rawpy.RawPy, codes: NDArray[np.uint16], tags: DngTags, name: str) -> FullColour:
    """Return linear `codes`, (h, w) without colours or (h, w, 3), as full colour; without colours it is neutral."""
    grey = codes.ndim == 2
    planes = [codes] if grey else [np.ascontiguousarray(codes[..., c]) for c in range(3)]
    white, black = float(raw.white_level), [float(level) for level in raw.black_level_per_channel[: len(planes)]]
    if not white > max(black):
        raise FrameError(f"{name} is damaged: its black level is above white.", COPY_AGAIN)
    counts = [histogram(plane, np.ones((1, 1), bool)) for plane in planes]
    for plane, count, own in zip(planes, counts, black, strict=True):
        if reason := unsound(plane, count, own, white):
            raise FrameError(f"{name} {reason}.", COPY_AGAIN)
    told = raw.camera_white_level_per_channel or [0, 0, 0, 0]
    levels = saturation(counts * (3 if grey else 1), float(np.mean(black)), white, told)
    red, green, blue = black * (3 if grey else 1)
    upright = [_upright(plane, raw.sizes.flip) for plane in planes]
    return FullColour(
        codes=np.stack(upright * (3 if grey else 1), axis=-1),
        black=(red, green, blue),
        white=(white, white, white),
        clip=levels,
        matrix=as_matrix(np.linalg.inv(rgb_to_xyz("BT.709"))) if grey else _camera_matrix(raw, tags),
        as_shot=None if grey else _as_shot(raw, tags),
        daylight=None if grey else _multipliers(raw.daylight_whitebalance),
        baseline_ev=tags.baseline_ev,
    )


def _mosaic(raw: rawpy.RawPy, tags: DngTags, name: str) -> Mosaic:
    sizes, shape = raw.sizes, () if raw.raw_pattern is None else raw.raw_pattern.shape
    side = 6 if shape == (6, 6) else 2
    if shape not in ((2, 2), (6, 6)) or min(sizes.height, sizes.width) < 2 * side:
        raise FrameError(f"{name} has a mosaic of a kind that is not read.", DEVELOP)
    top, left = sizes.top_margin, sizes.left_margin
    places = np.array([[raw.raw_color(top + row, left + col) for col in range(side)] for row in range(side)])
    pattern = np.where(places == 3, 1, places).astype(np.uint8)
    if set(pattern.flat) != {0, 1, 2}:
        raise FrameError(f"{name} is damaged: its mosaic lacks a colour.", COPY_AGAIN)
    black = np.array(raw.black_level_per_channel, np.float32)[places]
    if tags.black is not None:
        rows, cols = np.lcm(tags.black.shape[0], side), np.lcm(tags.black.shape[1], side)
        moved = np.roll(tags.black, (tags.top - top, tags.left - left), axis=(0, 1))
        black = spread(moved, int(rows), int(cols)).astype(np.float32)
    codes = raw.raw_image_visible
    counts = [histogram(codes, pattern == colour) for colour in range(3)]
    white = float(raw.white_level)
    if not white > black.max():
        raise FrameError(f"{name} is damaged: its black level is above white.", COPY_AGAIN)
    if reason := unsound(codes, np.sum(counts, axis=0), float(black.min()), white):
        raise FrameError(f"{name} {reason}.", COPY_AGAIN)
    told = raw.camera_white_level_per_channel or [0, 0, 0, 0]
    return Mosaic(
        codes=_upright(codes, sizes.flip),
        pattern=_turned_tile(pattern, codes.shape, sizes.flip),
        black=_turned_tile(black, codes.shape, sizes.flip),
        white=(white, white, white),
        clip=saturation(counts, float(black.mean()), white, told),
        matrix=_camera_matrix(raw, tags),
        as_shot=_as_shot(raw, tags),
        daylight=_multipliers(raw.daylight_whitebalance),
        baseline_ev=tags.baseline_ev,
    )


def _as_shot(raw: rawpy.RawPy, tags: DngTags) -> Multipliers | None:
    if len(tags.neutral) == 3:
        return _multipliers(1 / np.array(tags.neutral))
    return _multipliers(raw.camera_whitebalance)


def _multipliers(values: NDArray[np.float64] | list[float]) -> Multipliers | None:
    """Return multipliers with G = 1; None where a file gives none or impossible ones."""
    red, green, blue = (float(value) for value in values[:3])
    if not (np.isfinite([red, green, blue]).all() and min(red, green, blue) > 0):
        return None
    return red / green, 1.0, blue / green


def _camera_matrix(raw: rawpy.RawPy, tags: DngTags) -> Matrix:
    """Return XYZ to camera: from the DNG, LibRaw's table, the file's own matrix to sRGB, or of a camera that sees BT.709."""
    from_xyz = np.linalg.inv(rgb_to_xyz("BT.709"))
    candidates = [np.zeros((3, 3)) if tags.matrix is None else tags.matrix, raw.rgb_xyz_matrix[:3].astype(float)]
    own, daylight = raw.color_matrix[:, :3].astype(float), _multipliers(raw.daylight_whitebalance)
    if daylight is not None and abs(np.linalg.det(own)) > 1e-6:
        candidates.append(np.diag(1 / np.array(daylight)) @ np.linalg.inv(own) @ from_xyz)
    for matrix in candidates:
        if np.isfinite(matrix).all() and abs(np.linalg.det(matrix)) > 1e-6:
            return as_matrix(matrix)
    return as_matrix(from_xyz)


def _upright(values: NDArray[np.uint16], flip: int) -> NDArray[np.uint16]:
    """Return a copy turned as LibRaw's `flip` says: bit 2 swaps rows and columns after bits 1 and 0 reversed them."""
    turned = values[:: -1 if flip & 2 else 1, :: -1 if flip & 1 else 1]
    if not flip & 4:
        return np.array(turned, order="C")
    return np.asarray(cv2.transpose(np.ascontiguousarray(turned)), dtype=np.uint16)


def _turned_tile(tile: NDArray[Kind], shape: tuple[int, ...], flip: int) -> NDArray[Kind]:
    """Return the repeated tile of a picture of `shape` once that is turned."""
    rows, cols = tile.shape
    if flip & 2:
        tile = np.roll(tile[::-1], shape[0] % rows, axis=0)
    if flip & 1:
        tile = np.roll(tile[:, ::-1], shape[1] % cols, axis=1)
    return np.ascontiguousarray(tile.T if flip & 4 else tile)
