"""The option that puts camera clocks right, which several commands take, and what the light says of the clocks."""

from __future__ import annotations

import argparse
from dataclasses import replace

from lapsebench.core.bodies import Body, bodies_of, body_names, offset_from, offset_text, with_offset
from lapsebench.core.project import Project
from lapsebench.errors import LapsebenchError
from lapsebench.services.clocks import ClockProposal, clock_proposals
from lapsebench.services.survey import Survey


def clock_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the option."""
    parser.add_argument(
        "--clock",
        type=_clock,
        action="append",
        default=[],
        metavar="CAMERA=+H:MM:SS",
        help="add this to the times of a camera (its name or serial number) whose clock was wrong; may be repeated",
    )


def with_clocks(project: Project, options: argparse.Namespace) -> Project:
    """Return the project with the clocks that the command line sets. Raises `LapsebenchError` for a camera it has not."""
    clocks = project.clocks
    for name, seconds in options.clock:
        clocks = with_offset(clocks, _body(project, name), seconds)
    return replace(project, clocks=clocks)


def clock_notes(surveyed: Survey) -> tuple[str, ...]:
    """Return what the light says of clocks that are wrong, and the option that puts them right."""
    names = body_names(bodies_of(surveyed.project.frames))
    wrong = (told for told in clock_proposals(surveyed, surveyed.project) if not told.right)
    return tuple(_note(told, names) for told in wrong)


def _note(told: ClockProposal, names: dict[Body, str]) -> str:
    seconds = told.proposal.seconds
    way = "behind" if seconds > 0 else "ahead of"
    body, apart = names[told.body], offset_text(abs(seconds)).removeprefix("+")
    right = offset_text(told.offset_s).replace("−", "-")
    return (
        f"By the light of both, the clock of {body} is {apart} {way} that of {names[told.reference]}, "
        f'give or take {2 * told.proposal.error_s:.0f} s: --clock "{body}={right}" sets it like the other.'
    )


def _body(project: Project, name: str) -> Body:
    """Return the body called `name`: its camera, its serial number, or both as `body_names` has them."""
    names = body_names(bodies_of(project.frames))
    wanted = name.strip().casefold()
    fitting = [body for body, known in names.items() if wanted in _called(body, known)]
    if len(fitting) == 1:
        return fitting[0]
    cameras = ", ".join(names.values()) or "none that the files name"
    if fitting:
        raise LapsebenchError(f"{len(fitting)} cameras are called “{name}”.", f"Name one by its serial number: {cameras}.")
    raise LapsebenchError(f"No frame is by a camera called “{name}”.", f"Cameras here: {cameras}.")


def _called(body: Body, known: str) -> set[str]:
    return {word.casefold() for word in (body.camera, body.serial or "", known) if word}


def _clock(text: str) -> tuple[str, float]:
    name, _, offset = text.rpartition("=")
    if not name.strip():
        raise argparse.ArgumentTypeError(f"{text!r} names no camera, as in NAME=+1:00:00")
    try:
        return name, offset_from(offset)
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from None
