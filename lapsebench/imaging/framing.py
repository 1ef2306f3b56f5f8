"""Frames a picture for the film: which box of it is shown and at what size, resampled in linear light."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import ceil, floor
from typing import Any, TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from lapsebench.core.filmsettings import FilmSettings, even
from lapsebench.core.view import Patch, View, largest_width, patch_of
from lapsebench.imaging.resample import resampled

_SPARE = 3  # px
Size = tuple[int, int]
Box = tuple[int, int, int, int]
Shown = TypeVar("Shown", bound=np.generic)


@dataclass(frozen=True, slots=True)
class Placing:
    """How one frame goes into the film: its `box` (x, y, width, height in its pixels), shown at `size` in the middle.

    `patch`: the part of the box that is shown, where that is no whole pixels of it or turned; None is all of the box.
    """

    box: Box
    size: Size
    patch: Patch | None = None

    @property
    def resamples(self) -> bool:
        """Whether the box has to be scaled."""
        return self.patch is not None or self.box[2:] != self.size

    def fitted(self, light: NDArray[np.float32]) -> NDArray[np.float32]:
        """Return linear light (h, w, 3) of the box at the placing's size."""
        return scaled(light, self.size) if self.patch is None else resampled(light, self.patch, self.size)


@dataclass(frozen=True, slots=True)
class Framing:
    """The frame of a film: its even pixel `size`, for stills of which the first has `source` pixels; the `settings`."""

    settings: FilmSettings
    source: Size
    size: Size

    def placing(self, source: Size, view: View = View(), share: float = 0.0) -> Placing:  # noqa: B008
        """Return how a still of `source` pixels goes in, shown as `view` has it at a `share` 0..1 of its shot's film time.

        Stills of the first one's size are cropped as the settings say. Others, of another camera or crop, fill the film's
        frame, and what sticks out is cut off evenly; an upright one among wide ones (or the reverse) goes in whole, on
        black. A box one pixel larger than the film is cut rather than scaled, which leaves its pixels as they are.
        """
        whole = (0, 0, *source)
        if self._turned(source):
            scale = min(self.size[0] / source[0], self.size[1] / source[1])
            return Placing(whole, (max(1, round(source[0] * scale)), max(1, round(source[1] * scale))))
        if not view.is_plain:
            return self._viewed(source, view, share)
        box = self.settings.crop_box(*source) if source == self.source else whole
        return Placing(_trimmed(_filling_box(box, self.size), self.size), self.size)

    def _viewed(self, source: Size, view: View, share: float) -> Placing:
        patch = patch_of(view.at(share), source, self.size[0] / self.size[1], view.turn_deg)
        x, y, width, height = box = _around(patch, source)
        if (width, height) == self.size and patch == Patch(x + width / 2, y + height / 2, width, height):
            return Placing(box, self.size)
        return Placing(box, self.size, replace(patch, x=patch.x - x, y=patch.y - y))

    def _turned(self, source: Size) -> bool:
        square = self.size[0] == self.size[1]
        return not square and _upright(source) != _upright(self.source) and _upright(source) != _upright(self.size)


def framing_of(settings: FilmSettings, source: Size, view: View = View()) -> Framing:  # noqa: B008
    """Return the framing of a film whose first still has `source` = (width, height) pixels and is shown as `view` has it.

    A film of the source's own pixels has as many as the larger of the view's ends.
    """
    size = settings.framed_size(*source)
    if settings.size is None and not view.is_plain:
        scale = max(aim.scale for aim in (view.start, view.end) if aim is not None)
        width = scale * largest_width(source, size[0] / size[1], view.turn_deg)
        size = even(width), even(width * size[1] / size[0])
    return Framing(settings, source, size)


def _around(patch: Patch, source: Size) -> Box:
    """Return the pixels that a patch touches, with some to spare."""
    reach_x, reach_y = patch.reach
    left, top = max(floor(patch.x - reach_x) - _SPARE, 0), max(floor(patch.y - reach_y) - _SPARE, 0)
    right, bottom = min(ceil(patch.x + reach_x) + _SPARE, source[0]), min(ceil(patch.y + reach_y) + _SPARE, source[1])
    corner = patch.x - reach_x, patch.y - reach_y
    if not patch.turn_deg and all(float(value).is_integer() for value in (*corner, *patch.size)):
        return int(corner[0]), int(corner[1]), int(patch.width), int(patch.height)
    return left, top, right - left, bottom - top


def cut(pixels: NDArray[Any], box: Box) -> NDArray[Any]:
    """Return the view of `pixels` (h, w, 3) within `box` (x, y, width, height)."""
    x, y, width, height = box
    return pixels[y : y + height, x : x + width]


def scaled(light: NDArray[Shown], size: Size) -> NDArray[Shown]:
    """Return linear `light` (h, w, 3), uint16 or float32, at `size` = (width, height).

    Going down every pixel is the mean of what it covers, so that stars keep their light; going up it is bicubic, held within
    the light around, so that they get no dark rings.
    """
    source: Any = light
    if (light.shape[1], light.shape[0]) == size:
        return light
    if size[0] <= light.shape[1] and size[1] <= light.shape[0]:
        return np.asarray(cv2.resize(source, size, interpolation=cv2.INTER_AREA), light.dtype)
    around = np.ones((3, 3), np.uint8)
    least: Any = cv2.resize(cv2.erode(source, around), size, interpolation=cv2.INTER_LINEAR)
    most: Any = cv2.resize(cv2.dilate(source, around), size, interpolation=cv2.INTER_LINEAR)
    large: Any = cv2.resize(source, size, interpolation=cv2.INTER_CUBIC)
    return np.asarray(cv2.min(cv2.max(large, least), most), light.dtype)


def on_black(codes: NDArray[Shown], size: Size) -> NDArray[Shown]:
    """Return codes or light (h, w, 3), no larger than `size` = (width, height), in the middle of a black frame of it."""
    height, width = codes.shape[:2]
    if (width, height) == size:
        return codes
    framed = np.zeros((size[1], size[0], 3), codes.dtype)
    left, top = (size[0] - width) // 2, (size[1] - height) // 2
    framed[top : top + height, left : left + width] = codes
    return framed


def _filling_box(box: Box, size: Size) -> Box:
    """Return the largest centred box within `box` with the shape of `size`, to the nearest pixel."""
    x, y, width, height = box
    fit_width = max(1, min(width, round(height * size[0] / size[1])))
    fit_height = max(1, min(height, round(width * size[1] / size[0])))
    return x + (width - fit_width) // 2, y + (height - fit_height) // 2, fit_width, fit_height


def _trimmed(box: Box, size: Size) -> Box:
    """Return `box` cut to `size` where it is no more than a pixel larger either way; else as it is."""
    x, y, width, height = box
    return (x, y, *size) if width - size[0] in (0, 1) and height - size[1] in (0, 1) else box


def _upright(size: Size) -> bool:
    return size[1] > size[0]
