"""The table of the formats a film can have: what each is for, how its pictures are coded and tagged, and its least size."""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from lapsebench.core.formatfacts import (
    BT709,
    BT709_TRANSFER,
    BT2020,
    GBR,
    HLG_TRANSFER,
    LINEAR_TRANSFER,
    PQ_TRANSFER,
    SRGB_TRANSFER,
    FilmKind,
    FormatFacts,
    Sampling,
)


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
