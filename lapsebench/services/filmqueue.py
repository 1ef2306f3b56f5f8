"""The line of films: put in as the project is then, made one after another, each again after a failure or a restart."""

from __future__ import annotations

from collections.abc import Callable, Collection
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from lapsebench.core.progress import Tick, silent
from lapsebench.core.project import Project
from lapsebench.errors import Cancelled, LapsebenchError, OutputError
from lapsebench.io import queuefile
from lapsebench.io.queuefile import Entry
from lapsebench.io.sound import check_sound
from lapsebench.services.balances import balanced
from lapsebench.services.film import FilmDone, check_output, make_film
from lapsebench.services.filmplan import film_plan
from lapsebench.services.survey import level, responses_at, survey, used_frames


def add(project: Project, output: Path, *, overwrite: bool = False) -> Entry:
    """Put the film of the project, as it is now, at the end of the line.

    Raises OutputError where the film can't get its name, has no frames or can't be carried by its format, and where a film
    of that name waits already.
    """
    path = check_output(output, overwrite=overwrite, project=project)
    numbers = used_frames(project)
    if not numbers:
        raise OutputError("Nothing to film: no frame is in use.", "Take frames in, or move the in and out points.")
    plan = film_plan(project, numbers)
    plan.check()
    if any(entry.output == path for entry in queuefile.entries()[0]):
        raise OutputError(f"{path.name} is in the line of films already.", "Choose another name, or take that one out.")
    return queuefile.add(project, path, overwrite=overwrite, title=path.name, frames=plan.frames, size=plan.size)


def next_waiting(skip: Collection[str] = ()) -> Entry | None:
    """Return the first film of the line that waits and that nobody makes, those of the keys `skip` apart."""
    waiting = (entry for entry in queuefile.entries()[0] if not entry.failed and entry.key not in skip)
    return next((entry for entry in waiting if not queuefile.is_being_made(entry)), None)


def again(entry: Entry, *, overwrite: bool = False) -> None:
    """Let a film that could not be made wait again, with `overwrite` to replace what is there. Raises OutputError."""
    queuefile.keep(replace(entry, reason="", overwrite=entry.overwrite or overwrite))


def make(entry: Entry, tick: Tick = silent, *, filming: Callable[[], object] = lambda: None) -> FilmDone | None:
    """Make a film of the line and take it out; None where another program makes it or has taken it out.

    The frames are measured first, as far as their measures are not kept; then `filming` is called and `tick` starts anew.
    Raises what `survey` and `make_film` do. The film stays in the line then, with the reason unless it was `Cancelled`.
    """
    with queuefile.held(entry) as mine:
        if mine is None:
            return None
        try:
            done = _made(mine, tick, filming)
        except Cancelled:
            raise
        except Exception as error:
            with suppress(LapsebenchError):
                queuefile.keep(replace(mine, reason=str(error).strip() or type(error).__name__))
            raise
        queuefile.remove(mine.key)
        return done


def _made(entry: Entry, tick: Tick, filming: Callable[[], object]) -> FilmDone:
    project = balanced(queuefile.project_of(entry))
    check_output(entry.output, overwrite=entry.overwrite, project=project)
    if project.film.sound is not None:
        check_sound(project.film.sound)
    surveyed = survey(project, tick=tick)
    light, responses = level(surveyed, surveyed.project), responses_at(surveyed)
    filming()
    return make_film(surveyed.project, light, entry.output, overwrite=entry.overwrite, tick=tick, responses=responses)
