"""What there is to know of one film format, and what follows from it.

Code points for primaries, transfer and matrix are those of Rec. ITU-T H.273 tables 2 to 4. All that is coded as Y'CbCr is of
limited range, all that stays RGB of full range.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from math import exp2
from typing import Any

import numpy as np

BT709, BT2020 = 1, 9
"""Primaries; as matrices the same numbers, BT.2020 with non-constant luminance."""
GBR = 0
"""The matrix of what stays RGB."""
BT709_TRANSFER, LINEAR_TRANSFER, SRGB_TRANSFER, PQ_TRANSFER, HLG_TRANSFER = 1, 8, 13, 16, 18


class FilmKind(Enum):
    """What a format comes to: a film file, a folder of single frames, or a small animation that runs in a loop."""

    FILM = "film"
    FRAMES = "frames"
    ANIMATION = "animation"


class Sampling(Enum):
    """How a frame's samples lie; the value is the number of rows and columns of luma for each sample of chroma."""

    RGB = (1, 1)
    HALF_WIDTH = (1, 2)
    QUARTER = (2, 2)


@dataclass(frozen=True, slots=True)
class FormatFacts:
    """One format.

    `purpose` and `codec` are for people. `bits` a sample, 0 for half floats. `pixels`: the name of the sample layout, as the
    encoder program and PyAV call it. `top_left`: chroma lies on luma both ways, as is usual for BT.2020, else only sideways
    (left). `suffixes`: the first is the default; none for a folder of frames, whose files end in `frame_suffix`.
    `tag`: the codec's four letters in the file, none in containers
    without.
    """

    purpose: str
    codec: str
    kind: FilmKind
    bits: int
    sampling: Sampling
    pixels: str
    suffixes: tuple[str, ...]
    tag: str
    primaries: int
    transfer: int
    matrix: int
    bits_per_pixel: float
    doubling: float = 0.0
    top_left: bool = False
    lossless: bool = False
    max_pixels: int = 35_651_584
    frame_suffix: str = ""

    @property
    def hdr(self) -> bool:
        """Whether light above diffuse white is kept and shown as such."""
        return self.transfer in (PQ_TRANSFER, HLG_TRANSFER)

    @property
    def headroom(self) -> bool:
        """Whether frames come as light that goes on above white."""
        return self.hdr or self.transfer == LINEAR_TRANSFER

    @property
    def deep(self) -> bool:
        """Whether samples are finer than 8 bits."""
        return self.bits != 8

    @property
    def quality_counts(self) -> bool:
        """Whether the quality setting changes anything."""
        return self.doubling > 0

    @property
    def full_range(self) -> bool:
        """Whether codes go from 0 to the top: RGB."""
        return self.sampling is Sampling.RGB

    def shapes(self, size: tuple[int, int]) -> tuple[tuple[int, ...], ...]:
        """Return the shape of each plane of a frame of `size` = (width, height)."""
        width, height = size
        if self.full_range:
            return ((height, width),) * 3 if self.pixels == "gbrp16le" else ((height, width, 3),)
        down, across = self.sampling.value
        return (height, width), (height // down, width // across), (height // down, width // across)

    @property
    def sample(self) -> np.dtype[Any]:
        """Return the type of a sample."""
        return np.dtype({0: "<f2", 8: "u1"}.get(self.bits, "<u2"))

    def least_bytes(self, size: tuple[int, int], frames: int, quality: int) -> int:
        """Return the bytes that `frames` stills of `size` = (width, height) will hardly stay below at a quality 0..100.

        Measured on calm nights; the rate-factor codecs double every `doubling` steps of quality, from 40 on either way.
        """
        scale = exp2((quality - 40) / self.doubling) if self.doubling else 1.0
        return round(size[0] * size[1] * frames * self.bits_per_pixel * scale / 8)
