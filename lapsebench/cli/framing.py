"""The options of which part of the pictures the film shows, for all shots alike."""

from __future__ import annotations

import argparse
from dataclasses import replace

from lapsebench.cli.reading import told
from lapsebench.core.project import Project
from lapsebench.core.view import LEAST_SCALE, MOST_TURN_DEG, Aim, View

_Ends = tuple[Aim, Aim | None]


def framing_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options; without any the project's framing counts, or all that fits."""
    part = f"part of a picture, such as 0.5,0.4,0.8: x and y from 0 to 1, size from {LEAST_SCALE:g} to 1"
    parser.add_argument(
        "--straighten",
        type=told(_turn, f"turn from -{MOST_TURN_DEG:.0f} to {MOST_TURN_DEG:.0f} degrees"),
        metavar="DEGREES",
        help=f"turn the pictures clockwise, or the other way where negative, by up to {MOST_TURN_DEG:.0f} degrees",
    )
    parser.add_argument(
        "--frame",
        type=told(_ends, part),
        metavar="X,Y,SCALE[:X,Y,SCALE]",
        help="the part that is shown: its middle, each 0 to 1, and its size, 1 = the largest that fits; "
        "with a second one the film moves slowly from the first to that over each shot",
    )


def with_framing(project: Project, options: argparse.Namespace) -> Project:
    """Return the project with the framing that the command line sets for every shot."""
    return replace(project, shots=tuple(replace(shot, view=_framed(shot.view, options)) for shot in project.shots))


def _framed(view: View, options: argparse.Namespace) -> View:
    start, end = (view.start, view.end) if options.frame is None else options.frame
    return View(start, end, view.turn_deg if options.straighten is None else options.straighten)


def _turn(text: str) -> float:
    return View(turn_deg=float(text)).turn_deg


def _ends(text: str) -> _Ends:
    start, *rest = (_aim(part) for part in text.split(":", 1))
    return start, rest[0] if rest else None


def _aim(text: str) -> Aim:
    x, y, scale = (float(part) for part in text.split(","))
    return Aim(x, y, scale)
