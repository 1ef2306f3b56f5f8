"""The formats a film can have: what each is for, how its pictures are coded and tagged, and its least size.

Code points for primaries, transfer and matrix are those of Rec. ITU-T H.273 tables 2 to 4. All that is coded as Y'CbCr is of
limited range, all that stays RGB of full range.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, StrEnum
from math import exp2
from typing import Any

import numpy as np
from numpy.typing import NDArray


class FilmFormat(StrEnum):
    """The formats; the value names one on the command line and in the project file."""

    H264 = "h264"
    HEVC = "hevc"
    AV1 = "av1"
    PRORES = "prores"
    DNXHR = "dnxhr"
    HLG = "hlg"
    PQ = "pq"
    FFV1 = "ffv1"
    TIFF = "tiff"
    EXR = "exr"
    GIF = "gif"
    WEBP = "webp"

    @property
    def facts(self) -> FormatFacts:
        """Return what there is to know of the format."""
        return FORMATS[self]


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


@dataclass(frozen=True, slots=True)
class LightLevel:
    """Light of an HDR frame, cd/m2: of the strongest channel at its `most`, and its `mean` over the frame (CTA-861.3)."""

    most: float
    mean: float


@dataclass(frozen=True, slots=True)
class FilmFrame:
    """One frame as its format codes it: the sample `planes` in the order of the layout, and of HDR its light level."""

    planes: tuple[NDArray[Any], ...]
    level: LightLevel | None = None


BT709, BT2020 = 1, 9
"""Primaries; as matrices the same numbers, BT.2020 with non-constant luminance."""
GBR = 0
"""The matrix of what stays RGB."""
BT709_TRANSFER, LINEAR_TRANSFER, SRGB_TRANSFER, PQ_TRANSFER, HLG_TRANSFER = 1, 8, 13, 16, 18

_SDR: dict[str, Any] = {"primaries": BT709, "transfer": BT709_TRANSFER, "matrix": BT709}
_RGB: dict[str, Any] = {"primaries": BT709, "transfer": SRGB_TRANSFER, "matrix": GBR, "sampling": Sampling.RGB}
_SMALL: dict[str, Any] = {
    "kind": FilmKind.FILM,
    "bits": 10,
    "sampling": Sampling.QUARTER,
    "pixels": "yuv420p10le",
    "doubling": 30,
}
_HEVC: dict[str, Any] = _SMALL | {"suffixes": (".mp4", ".mov"), "tag": "hvc1", "bits_per_pixel": 0.006}
_HDR: dict[str, Any] = _HEVC | {"codec": "HEVC, 10 bits, BT.2020", "primaries": BT2020, "matrix": BT2020, "top_left": True}
_EDIT: dict[str, Any] = _SDR | {
    "kind": FilmKind.FILM,
    "bits": 10,
    "sampling": Sampling.HALF_WIDTH,
    "pixels": "yuv422p10le",
    "suffixes": (".mov",),
}
_FRAMES: dict[str, Any] = _RGB | {"kind": FilmKind.FRAMES, "suffixes": (), "tag": "", "lossless": True}
_TEASER: dict[str, Any] = _RGB | {"kind": FilmKind.ANIMATION, "bits": 8, "pixels": "rgb24", "tag": ""}

FORMATS: dict[FilmFormat, FormatFacts] = {
    FilmFormat.H264: FormatFacts(
        **_SDR,
        purpose="Share: plays everywhere",
        codec="H.264, 8 bits",
        kind=FilmKind.FILM,
        bits=8,
        sampling=Sampling.QUARTER,
        pixels="yuv420p",
        suffixes=(".mp4", ".mov"),
        tag="avc1",
        bits_per_pixel=0.01,
        doubling=30,
    ),
    FilmFormat.HEVC: FormatFacts(
        **_HEVC | _SDR, purpose="Small: smooth skies, for players of the last ten years", codec="HEVC, 10 bits"
    ),
    FilmFormat.AV1: FormatFacts(
        **_SMALL | _SDR,
        purpose="Smallest: smooth skies, for new players and browsers",
        codec="AV1, 10 bits",
        suffixes=(".mp4",),
        tag="av01",
        bits_per_pixel=0.004,
    ),
    FilmFormat.PRORES: FormatFacts(
        **_EDIT, purpose="Edit: for cutting and grading", codec="ProRes 422 HQ, 10 bits", tag="apch", bits_per_pixel=1.5
    ),
    FilmFormat.DNXHR: FormatFacts(
        **_EDIT, purpose="Edit: for cutting and grading", codec="DNxHR HQX, 10 bits", tag="AVdh", bits_per_pixel=3.3
    ),
    FilmFormat.HLG: FormatFacts(
        **_HDR, purpose="HDR: bright aurora on television sets; still fine where HDR is not known", transfer=HLG_TRANSFER
    ),
    FilmFormat.PQ: FormatFacts(**_HDR, purpose="HDR: bright aurora on HDR screens, in absolute light", transfer=PQ_TRANSFER),
    FilmFormat.FFV1: FormatFacts(
        **_RGB,
        purpose="Keep: every code of every pixel, for the archive",
        codec="FFV1, RGB, 16 bits",
        kind=FilmKind.FILM,
        bits=16,
        pixels="gbrp16le",
        suffixes=(".mkv",),
        tag="",
        bits_per_pixel=4,
        lossless=True,
        max_pixels=268_435_456,
    ),
    FilmFormat.TIFF: FormatFacts(
        **_FRAMES,
        purpose="Frames: single pictures for other programs",
        codec="TIFF, RGB, 16 bits",
        bits=16,
        pixels="rgb48le",
        bits_per_pixel=4,
        max_pixels=268_435_456,
        frame_suffix=".tif",
    ),
    FilmFormat.EXR: FormatFacts(
        **_FRAMES | {"transfer": LINEAR_TRANSFER},
        purpose="Frames: linear light with its headroom, for compositing",
        codec="OpenEXR, half floats",
        bits=0,
        pixels="gbrpf16le",
        bits_per_pixel=4,
        max_pixels=268_435_456,
        frame_suffix=".exr",
    ),
    FilmFormat.GIF: FormatFacts(
        **_TEASER,
        purpose="Teaser: a small loop for messages",
        codec="GIF, 256 colours",
        suffixes=(".gif",),
        bits_per_pixel=0.8,
    ),
    FilmFormat.WEBP: FormatFacts(
        **_TEASER,
        purpose="Teaser: a small loop for web pages",
        codec="WebP, 8 bits",
        suffixes=(".webp",),
        bits_per_pixel=0.05,
    ),
}
