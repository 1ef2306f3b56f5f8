"""What the film shall be: size, crop, rate, format and quality."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from lapsebench.core.formats import FilmFormat
from lapsebench.core.sound import Sound


class Crop(StrEnum):
    """Shape of the film; the value is the word shown."""

    SOURCE = "source"
    WIDE = "16:9"
    TALL = "9:16"
    SQUARE = "1:1"

    @property
    def ratio(self) -> float | None:
        """Width over height; None keeps the source's."""
        return {"16:9": 16 / 9, "9:16": 9 / 16, "1:1": 1.0}.get(self.value)


@dataclass(frozen=True, slots=True)
class FilmSettings:
    """Settings of one film.

    `size` is the box in pixels that the film fits into, long side first and turned for upright pictures; None keeps the
    source's pixels. With `exact` the film is exactly `size` and the picture is cropped to its shape.
    `quality` 0..100: 0 smallest file, 100 visually lossless. `fps` is an exact rational. Of RAW: `fine` detail, which takes
    longer; `mend_hot`: whether hot pixels of the sensor are taken out. `hardware`: use an encoder of the graphics processor
    where one works. `sound`: the music under it.
    """

    fps: Fraction = Fraction(25)
    crop: Crop = Crop.SOURCE
    size: tuple[int, int] | None = None
    exact: bool = False
    quality: int = 70
    fine: bool = False
    mend_hot: bool = False
    format: FilmFormat = FilmFormat.H264
    hardware: bool = False
    sound: Sound | None = None

    def framed_size(self, width: int, height: int) -> tuple[int, int]:
        """Return the film's even pixel size for a source of `width` x `height`."""
        _, _, crop_w, crop_h = self.crop_box(width, height)
        if self.size is None:
            return _even_below(crop_w), _even_below(crop_h)
        if self.exact:
            return even(self.size[0]), even(self.size[1])
        long, short = max(self.size), min(self.size)
        box_w, box_h = (long, short) if crop_w >= crop_h else (short, long)
        scale = min(box_w / crop_w, box_h / crop_h)
        return even(crop_w * scale), even(crop_h * scale)

    def crop_box(self, width: int, height: int) -> tuple[int, int, int, int]:
        """Return x, y, width, height in source pixels of the largest centred box of the wanted shape."""
        ratio = self.size[0] / self.size[1] if self.exact and self.size else self.crop.ratio
        if ratio is None:
            return 0, 0, width, height
        crop_w = max(1, min(width, round(height * ratio)))
        crop_h = max(1, min(height, round(width / ratio)))
        return (width - crop_w) // 2, (height - crop_h) // 2, crop_w, crop_h


def even(length: float) -> int:
    """Return the even number of pixels nearest to a length, 2 at least."""
    return max(2, 2 * round(length / 2))


def _even_below(pixels: int) -> int:
    """Return the even number of pixels that can be cut from `pixels` without scaling."""
    return max(2, pixels - pixels % 2)
