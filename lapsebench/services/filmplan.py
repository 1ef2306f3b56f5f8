"""What a film comes to, told before it is made: pixels, frames, rate and least bytes, and what its format can't carry."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from lapsebench.core.filmsettings import even
from lapsebench.core.formatfacts import FilmKind
from lapsebench.core.formats import FilmFormat
from lapsebench.core.project import Project
from lapsebench.core.view import View
from lapsebench.errors import OutputError
from lapsebench.imaging.framing import framing_of
from lapsebench.io.filmlimits import TEASER_SIDE, check_size

LOOP_FPS, LOOP_FRAMES = Fraction(25, 2), 600
"""Most of a loop, so that it stays small to send."""
_UNKNOWN = (1920, 1080)


@dataclass(frozen=True, slots=True)
class FilmPlan:
    """A film to be made: pixel `size`, number of `frames` at `fps`, `bytes` it will hardly stay below, `sound` under it."""

    form: FilmFormat
    size: tuple[int, int]
    frames: int
    fps: Fraction
    bytes: int
    sound: bool

    @property
    def seconds(self) -> float:
        """How long the film runs."""
        return float(self.frames / self.fps)

    def check(self) -> None:
        """Raise OutputError where the format can't carry such a film."""
        if self.sound and self.form.facts.kind is not FilmKind.FILM:
            raise OutputError(f"{self.form.facts.codec} carries no sound.", "Choose another format, or take the sound out.")
        check_size(self.size, self.fps, self.form)


def film_plan(project: Project, numbers: Sequence[int]) -> FilmPlan:
    """Return what the film of the frames `numbers` of the project comes to; of a size not known yet, 1080p is taken."""
    film, form = project.film, project.film.format
    known = (number for number in numbers if project.frames[number].width)
    first = next(known, None)
    source, view = _UNKNOWN, View()
    if first is not None:
        source = project.frames[first].width, project.frames[first].height
        view = next((shot.view for shot in project.shots if first in shot.frames), view)
    size, step = framing_of(film, source, view).size, 1
    if form.facts.kind is FilmKind.ANIMATION:
        size, step = loop_size(size), loop_step(len(numbers), film.fps)
    count = len(range(0, len(numbers), step))
    least = form.facts.least_bytes(size, count, film.quality)
    return FilmPlan(form, size, count, film.fps / step, least, film.sound is not None)


def loop_step(frames: int, fps: Fraction) -> int:
    """Return of how many frames a loop has one."""
    return max(1, -(-fps // LOOP_FPS), -(-frames // LOOP_FRAMES))


def loop_size(size: tuple[int, int]) -> tuple[int, int]:
    """Return the even pixels of a loop, within the longest side that is small to send."""
    if max(size) <= TEASER_SIDE:
        return size
    scale = TEASER_SIDE / max(size)
    return even(size[0] * scale), even(size[1] * scale)


def refused_size(project: Project, numbers: Sequence[int], size: tuple[int, int]) -> str:
    """Return why the film's format can't have `size` for its box in pixels; nothing where it can."""
    if project.film.format.facts.kind is FilmKind.ANIMATION and max(size) > TEASER_SIDE:
        return f"A loop has at most {TEASER_SIDE} pixels along its longer side."
    film = replace(project.film, size=size, exact=False, sound=None)
    try:
        film_plan(replace(project, film=film), numbers).check()
    except OutputError as error:
        return error.what
    return ""
