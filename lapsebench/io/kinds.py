"""The kinds of picture files that are read, told by the endings of their names."""

from __future__ import annotations

from pathlib import PurePath

_RAW = ".3fr .arw .cr2 .cr3 .crw .dng .erf .fff .gpr .iiq .kdc .mef .mos .mrw .nef .nrw .orf .pef .raf .raw .rw2 .srw .x3f"
RAW_SUFFIXES = frozenset(_RAW.split())
"""RAW files of cameras, as LibRaw opens them."""
HEIF_SUFFIXES = frozenset({".heic", ".heif", ".hif"})
JPEG_SUFFIXES = frozenset({".jpg", ".jpeg", ".jpe"})
PICTURE_SUFFIXES = RAW_SUFFIXES | HEIF_SUFFIXES | JPEG_SUFFIXES | {".png", ".tif", ".tiff"}

CLIP_SUFFIXES = frozenset({".mp4", ".mov", ".m4v"})
"""Videos that a camera made of its frames itself."""

KINDS = "RAW, JPEG, HEIC, PNG or TIFF"
"""What is read, as the user is told."""


def is_picture(name: str) -> bool:
    """Return whether a file is a picture that is read, judged by its name; hidden files are none."""
    return PurePath(name).suffix.lower() in PICTURE_SUFFIXES and not name.startswith(".")


def is_clip(name: str) -> bool:
    """Return whether a file is a video that is read frame by frame, judged by its name; hidden files are none."""
    return PurePath(name).suffix.lower() in CLIP_SUFFIXES and not name.startswith(".")


def is_raw(path: PurePath) -> bool:
    """Return whether a file is RAW, judged by its name."""
    return path.suffix.lower() in RAW_SUFFIXES
