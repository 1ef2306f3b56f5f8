"""The options that give a film its look: one of the looks by plain words, and a look-up table."""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path

from lapsebench.core.look import Look, LookPreset, with_look_preset
from lapsebench.core.project import Project
from lapsebench.services.finish import finish_of

PLAIN = "plain"
"""The name of no look at all, which takes off what the project says."""


def look_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    names = [PLAIN, *(preset.value for preset in LookPreset)]
    parser.add_argument("--look", choices=names, help="look of all shots; the project's when not given")
    parser.add_argument("--lut", type=Path, metavar="FILE", help="look-up table (.cube) that all shots go through")


def check_looks(options: argparse.Namespace) -> None:
    """Raise LapsebenchError where the look-up table can't be used."""
    if options.lut is not None:
        finish_of(Look(lut=str(options.lut)))


def with_looks(project: Project, options: argparse.Namespace) -> Project:
    """Return the project with the look that the command line sets for every shot."""
    return replace(project, shots=tuple(replace(shot, look=_look(shot.look, options)) for shot in project.shots))


def _look(look: Look, options: argparse.Namespace) -> Look:
    if options.look is not None:
        look = Look() if options.look == PLAIN else with_look_preset(look, LookPreset(options.look))
    return look if options.lut is None else replace(look, lut=str(options.lut.absolute()), lut_share=100.0)
