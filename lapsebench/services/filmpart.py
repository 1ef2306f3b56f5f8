"""Which part of each frame the film shows, told before it is made."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from lapsebench.core.project import Project
from lapsebench.core.sequence import Frame
from lapsebench.core.view import Patch, View
from lapsebench.imaging.framing import Framing, framing_of
from lapsebench.services.filmplan import film_plan


@dataclass(frozen=True, slots=True)
class FilmShape:
    """The frame of a film as its first still sets it, and the pixel `size` that the film is made with."""

    framing: Framing
    size: tuple[int, int]

    @property
    def ratio(self) -> float:
        """Width over height of the film."""
        return self.framing.size[0] / self.framing.size[1]

    def part(self, frame: Frame, view: View, share: float) -> Patch | None:
        """Return what the film shows of a frame at a `share` 0..1 of its shot's film time.

        None: the frame goes in whole, on black, or its size is not known.
        """
        if not frame.width:
            return None
        placing = self.framing.placing((frame.width, frame.height), view, share)
        if placing.size != self.framing.size:
            return None
        x, y, width, height = placing.box
        if placing.patch is None:
            return Patch(x + width / 2, y + height / 2, width, height)
        return replace(placing.patch, x=placing.patch.x + x, y=placing.patch.y + y)

    def enlarged(self, patch: Patch) -> float:
        """Return how many of the film's pixels one of the frame's gets across."""
        return self.size[0] / patch.width


def film_shape(project: Project, numbers: Sequence[int]) -> FilmShape | None:
    """Return the shape of the film of the frames `numbers`; None while no size of theirs is known."""
    first = next((number for number in numbers if project.frames[number].width), None)
    if first is None:
        return None
    frame = project.frames[first]
    view = next((shot.view for shot in project.shots if first in shot.frames), View())
    framing = framing_of(project.film, (frame.width, frame.height), view)
    return FilmShape(framing, film_plan(project, numbers).size)
