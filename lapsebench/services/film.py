"""Makes the film: every used frame with its gain, framed and encoded, in place only when whole."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from lapsebench.core.filmlight import FilmLight
from lapsebench.core.progress import Tick, silent
from lapsebench.core.project import Project


@dataclass(frozen=True, slots=True)
class FilmDone:
    """A finished film: where it is, frames in it, pixel size, seconds of film, bytes."""

    path: Path
    frames: tuple[int, ...]
    size: tuple[int, int]
    seconds: float
    bytes: int


def make_film(project: Project, light: FilmLight, output: Path, *, overwrite: bool = False, tick: Tick = silent) -> FilmDone:
    """Encode `used_frames(project)` with their gains to `output`."""
    raise NotImplementedError
