"""The options of the metering area, which several commands take."""

from __future__ import annotations

import argparse
import math
from dataclasses import replace

from lapsebench.core.area import LEAST_SIDE, AreaKind, Box, MeteringArea
from lapsebench.core.project import Project
from lapsebench.services.metering import metered_by

_BY_NAME = [kind.value for kind in (AreaKind.WHOLE, AreaKind.SKY, AreaKind.GROUND)]


def meter_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options; without any the project's areas count, or the whole picture."""
    either = parser.add_mutually_exclusive_group()
    either.add_argument("--meter", choices=_BY_NAME, help="what is measured of the pictures (whole)")
    either.add_argument(
        "--meter-box", type=_box, metavar="X,Y,W,H", help="measure a rectangle: left, top, width, height, each 0 to 1"
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
    wrong = f"{text!r} is no box within the picture, such as 0.2,0.1,0.6,0.5, and at least {LEAST_SIDE:g} wide and high"
    try:
        x, y, width, height = (float(part) for part in text.split(","))
        if not all(map(math.isfinite, (x, y, width, height))):
            raise ValueError(text)
        return MeteringArea(AreaKind.RECTANGLE, (x, y, width, height)).box
    except ValueError:
        raise argparse.ArgumentTypeError(wrong) from None
