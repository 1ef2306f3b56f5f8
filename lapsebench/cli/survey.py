"""Reads, measures and splits the light of a night, and reports it."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

import numpy as np

from lapsebench.cli.balance import balance_arguments, with_balances
from lapsebench.cli.clocks import clock_arguments, clock_notes, with_clocks
from lapsebench.cli.meter import meter_arguments, with_meter
from lapsebench.cli.progressline import ProgressLine, say
from lapsebench.core.filmlight import FilmLight
from lapsebench.core.project import Project
from lapsebench.core.sequence import change_parts
from lapsebench.services.report import check_report, survey_report, write_report
from lapsebench.services.survey import Survey, gather, level, survey


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument(
        "folders", nargs="+", type=Path, metavar="FOLDER", help="folders of frames, single frames, or a project file"
    )
    night_arguments(parser)
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the survey as JSON")


def run(options: argparse.Namespace) -> None:
    """Survey the folders, print what was found, and write the JSON where asked."""
    if options.json:
        check_report(options.json)
    surveyed, notes = surveyed_night(options.folders, partial(as_told, options))
    clocks_off = clock_notes(surveyed)
    for note in clocks_off:
        say(note)
    film = level(surveyed, surveyed.project)
    print_survey(surveyed, film)
    if options.json:
        report = survey_report(surveyed, surveyed.project, film, warnings=(*notes, *clocks_off))
        write_report(options.json, report)
        say(f"Survey written to {options.json}")


def night_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options that say how a night is read and measured."""
    meter_arguments(parser)
    clock_arguments(parser)
    balance_arguments(parser)


def as_told(options: argparse.Namespace, project: Project) -> Project:
    """Return the gathered project as those options want it. Raises `LapsebenchError`."""
    return with_balances(with_clocks(with_meter(project, options), options), options)


def surveyed_night(
    folders: Sequence[Path], change: Callable[[Project], Project] | None = None
) -> tuple[Survey, tuple[str, ...]]:
    """Gather, `change` the project and survey it, with progress lines; the notes of gathering are said and returned."""
    with ProgressLine("Reading the files", "file") as tick:
        project, notes = gather(folders, tick=tick)
    for note in notes:
        say(note)
    project = change(project) if change else project
    with ProgressLine("Measuring") as tick:
        surveyed = survey(project, tick=tick)
    for note in surveyed.notes:
        say(note)
    return surveyed, notes


def print_survey(surveyed: Survey, film: FilmLight) -> None:
    """Print shots, setting changes, faults and the steps before and after, for a person."""
    project = surveyed.project
    for number, shot in enumerate(project.shots, start=1):
        print(f"Shot {number}: frames {shot.first + 1} to {shot.last + 1} ({shot.why})")
    for i in np.flatnonzero(surveyed.light.setting_change):
        print(f"  {project.frames[i].name}: {_change(project, int(i))}")
    for frame in project.frames:
        if frame.faults:
            problem = f" - {frame.problem}" if frame.problem else ""
            print(f"  {frame.name}: {', '.join(sorted(frame.faults))}{problem}")
    print(_steps(surveyed, film))


def _change(project: Project, i: int) -> str:
    known = [k for k in range(i) if project.frames[k].exposure_ev is not None]
    parts = change_parts(project.frames[known[-1]], project.frames[i], "->") if known else []
    return ", ".join(parts) or "a step in the pictures"


def _steps(surveyed: Survey, film: FilmLight) -> str:
    """Return the largest frame-to-frame step of the exposure before and after, over the good frames of each shot."""
    project = surveyed.project
    good = np.array([project.keeps(i) for i in range(len(project.frames))])
    before, after = [0.0], [0.0]
    for shot in project.shots:
        frames = np.array(shot.frames)[good[shot.first : shot.last + 1]]
        before += np.abs(np.diff(surveyed.light.received_ev[frames])).tolist()
        after += np.abs(np.diff(film.virtual_ev[frames])).tolist()
    if len(before) == 1:
        return "Fewer than two good frames: there is nothing to even out."
    steps = f"largest step of the exposure: {max(before):.2f} stop as shot, {max(after):.3f} stop evened"
    return f"{good.sum()} good frames; {steps}."
