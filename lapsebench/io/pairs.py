"""Stills kept twice, as RAW and as a finished picture of the same name: one frame, for which the RAW file is taken."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from lapsebench.core.sequence import Frame
from lapsebench.io.kinds import HEIF_SUFFIXES, JPEG_SUFFIXES, is_raw


def partners(paths: Sequence[Path]) -> dict[Path, Path]:
    """Return finished picture -> RAW file of the same folder and name, where there is one; case does not matter."""
    raws: dict[tuple[Path, str], Path] = {}
    for path in paths:
        if is_raw(path):
            raws.setdefault((path.parent, path.stem.casefold()), path)
    finished = (path for path in paths if path.suffix.lower() in JPEG_SUFFIXES | HEIF_SUFFIXES)
    pairs = {path: raws.get((path.parent, path.stem.casefold())) for path in finished}
    return {path: raw for path, raw in pairs.items() if raw}


def pair_notes(pairs: Mapping[Path, Path], stand_ins: Mapping[Path, Frame]) -> list[str]:
    """Return in words what was taken of the pairs; `stand_ins` are frames of finished pictures by their RAW file."""
    if not pairs:
        return []
    count = len(set(pairs.values()))
    noun = "frame is" if count == 1 else "frames are"
    notes = [f"{count} {noun} there as RAW and as a finished picture: the RAW file is taken."]
    if stand_ins:
        names = [frame.path.name for frame in stand_ins.values()]
        examples = ", ".join(names[:3]) + (", ..." if len(names) > 3 else "")
        notes.append(f"{len(names)} of these RAW files can't be read: the finished picture stands in ({examples}).")
    return notes
