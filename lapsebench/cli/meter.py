"""The options of the metering area, which several commands take."""

from __future__ import annotations

import argparse
from dataclasses import replace

from lapsebench.cli.reading import told, within
from lapsebench.core.area import LEAST_SIDE, AreaKind, Box, MeteringArea
from lapsebench.core.project import Project
from lapsebench.services.metering import metered_by

_BY_NAME = [kind.value for kind in (AreaKind.WHOLE, AreaKind.SKY, AreaKind.GROUND)]


def meter_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options; without any the project's areas count, or the whole picture."""
    box = f"box within the picture, such as 0.2,0.1,0.6,0.5, and at least {LEAST_SIDE:g} wide and high"
    either = parser.add_mutually_exclusive_group()
    either.add_argument("--meter", choices=_BY_NAME, help="what is measured of the pictures (whole)")
    either.add_argument(
        "--meter-box",
        type=told(_box, box),
        metavar="X,Y,W,H",
        help="measure a rectangle: left, top, width, height, each 0 to 1",
    )


def with_meter(project: Project, options: argparse.Namespace) -> Project:
    """Return the project measured as the command line says; horizons drawn by hand in a project file stay."""
    if options.meter_box is not None:
        return metered_by(project, MeteringArea(AreaKind.RECTANGLE, options.meter_box))
    if options.meter is None:
        return project
    shots = (replace(shot, area=replace(shot.area, kind=AreaKind(options.meter))) for shot in project.shots)
    return replace(project, shots=tuple(shots))


def _box(text: str) -> Box:
    x, y, width, height = (within(float(part), 0, 1) for part in text.split(","))
    return MeteringArea(AreaKind.RECTANGLE, (x, y, width, height)).box
