"""Reads, measures and splits the light of a night, and reports it."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from lapsebench.cli.progressline import ProgressLine, say
from lapsebench.core.exposure import shutter_text
from lapsebench.core.filmlight import FilmLight
from lapsebench.core.project import Project
from lapsebench.core.sequence import Fault
from lapsebench.services.report import check_report, survey_report, write_report
from lapsebench.services.survey import Survey, gather, level, survey, used_frames


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument("folders", nargs="+", type=Path, metavar="FOLDER", help="folders of frames, or single frames")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the survey as JSON")


def run(options: argparse.Namespace) -> None:
    """Survey the folders, print what was found, and write the JSON where asked."""
    if options.json:
        check_report(options.json)
    surveyed, notes = surveyed_night(options.folders)
    film = level(surveyed, surveyed.project)
    print_survey(surveyed, film)
    if options.json:
        report = survey_report(surveyed, surveyed.project, film, warnings=notes)
        write_report(options.json, report, surveyed.project)
        say(f"Survey written to {options.json}")


def surveyed_night(folders: Sequence[Path]) -> tuple[Survey, tuple[str, ...]]:
    """Gather and survey with progress lines; the notes of gathering are said and returned."""
    with ProgressLine("Reading the files", "file") as tick:
        project, notes = gather(folders, tick=tick)
    for note in notes:
        say(note)
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
        print(f"  {project.frames[i].path.name}: {_change(project, int(i))}")
    for frame in project.frames:
        if frame.faults:
            problem = f" - {frame.problem}" if frame.problem else ""
            print(f"  {frame.path.name}: {', '.join(sorted(frame.faults))}{problem}")
    print(_steps(surveyed, film))


def _change(project: Project, i: int) -> str:
    before, after = project.frames[i - 1], project.frames[i]
    parts = []
    if before.exposure_s and after.exposure_s and before.exposure_s != after.exposure_s:
        parts.append(f"{shutter_text(before.exposure_s)} -> {shutter_text(after.exposure_s)}")
    if before.iso and after.iso and before.iso != after.iso:
        parts.append(f"ISO {before.iso:g} -> {after.iso:g}")
    if before.f_number and after.f_number and before.f_number != after.f_number:
        parts.append(f"f/{before.f_number:g} -> f/{after.f_number:g}")
    return ", ".join(parts) or "a step in the pictures"


def _steps(surveyed: Survey, film: FilmLight) -> str:
    """Return the largest frame-to-frame step of the exposure before and after, over the frames used."""
    project = surveyed.project
    used = used_frames(project)
    steady = [i for i in used if Fault.GAP not in project.frames[i].faults]
    if len(steady) < 2:
        return "Fewer than two good frames: there is nothing to even out."
    before = np.abs(np.diff(surveyed.light.received_ev[used])).max()
    after = np.abs(np.diff(film.virtual_ev[used])).max()
    return f"{len(used)} good frames; largest step of the exposure: {before:.2f} stop as shot, {after:.3f} stop evened."
