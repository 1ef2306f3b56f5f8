"""The project: everything the user decided, in one frozen object; an edit is a function Project -> Project."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from lapsebench.core.bodies import Clocks
from lapsebench.core.curves import CameraCurve
from lapsebench.core.filmlight import LightSettings
from lapsebench.core.filmsettings import FilmSettings
from lapsebench.core.sequence import SPOILT, Frame, Shot


@dataclass(frozen=True, slots=True)
class Project:
    """`frames` in shooting order; `shots` cover them; `taken_in`/`left_out`: frames the user decided on by hand.

    `curves`: of the cameras, as surveys found them. `use_curve`: whether they are used, else sRGB is.
    `clocks`: what to add to the times of each camera body, see `bodies.taken_of`; `frames` keep the times of their files.
    """

    sources: tuple[Path, ...] = ()
    frames: tuple[Frame, ...] = ()
    shots: tuple[Shot, ...] = ()
    light: LightSettings = field(default_factory=LightSettings)
    film: FilmSettings = field(default_factory=FilmSettings)
    taken_in: frozenset[int] = frozenset()
    left_out: frozenset[int] = frozenset()
    curves: tuple[CameraCurve, ...] = ()
    use_curve: bool = True
    clocks: Clocks = ()

    def keeps(self, frame: int) -> bool:
        """Whether a frame counts and goes into the film: readable, not left out by hand, and not spoilt or taken in."""
        if frame in self.left_out or not self.frames[frame].readable:
            return False
        return frame in self.taken_in or not self.frames[frame].faults & SPOILT
