"""The survey of a night: gather the frames, measure them, split camera from sky, and level the light."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from lapsebench.core.filmlight import FilmLight
from lapsebench.core.metering import FrameMeasure
from lapsebench.core.progress import Tick, silent
from lapsebench.core.project import Project
from lapsebench.core.separation import Light

Measured = Callable[[int, FrameMeasure], None]
"""Called from a worker thread as `measured(frame number, measure)` as soon as a frame is measured."""


@dataclass(frozen=True, slots=True)
class Survey:
    """A surveyed project: `project` with its faults found, one measure a frame (None where unreadable), and the light."""

    project: Project
    measures: tuple[FrameMeasure | None, ...]
    light: Light
    notes: tuple[str, ...]


def gather(paths: Sequence[Path], *, tick: Tick = silent) -> tuple[Project, tuple[str, ...]]:
    """Return the project of the frames in `paths` (folders or files) and notes for the user."""
    raise NotImplementedError


def survey(project: Project, *, tick: Tick = silent, measured: Measured | None = None) -> Survey:
    """Measure every frame of the project and split its light."""
    raise NotImplementedError


def level(survey: Survey, project: Project) -> FilmLight:
    """Return the film light of all frames under the project's settings; milliseconds for thousands of frames."""
    raise NotImplementedError


def used_frames(project: Project) -> list[int]:
    """Return the frame numbers that go into the film: in trims, not spoilt or taken in by hand, not left out by hand."""
    raise NotImplementedError
