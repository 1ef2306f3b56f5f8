"""Makes an evened film of a night."""

from __future__ import annotations

import argparse
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any, TypeVar

from lapsebench.cli.progressline import ProgressLine, say
from lapsebench.cli.survey import surveyed_night
from lapsebench.core.filmlight import LightSettings
from lapsebench.core.filmsettings import Crop, FilmSettings
from lapsebench.core.project import Project
from lapsebench.services.film import check_output, make_film
from lapsebench.services.report import check_report, survey_report, write_report
from lapsebench.services.survey import Survey, level

Settings = TypeVar("Settings", LightSettings, FilmSettings)


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments; those not given are the project's, or the defaults named in their help."""
    parser.add_argument("source", nargs="+", type=Path, metavar="SOURCE", help="folders of frames, or one project file")
    parser.add_argument("-o", "--output", type=Path, required=True, metavar="FILE", help="the film, .mp4 or .mov")
    parser.add_argument("--fps", type=_rate, metavar="RATE", help="frames a second: 25, 23.976, 30000/1001 ... (25)")
    parser.add_argument("--size", type=_size, metavar="WxH", help="exact size in pixels; the source's when not given")
    parser.add_argument("--crop", type=Crop, choices=list(Crop), help="shape of the film (source)")
    parser.add_argument("--format", choices=["h264"], default="h264", help="h264: 8-bit, plays everywhere")
    parser.add_argument("--quality", type=_percent, metavar="0-100", help="100 is visually lossless (70)")
    parser.add_argument("--sky-kept", type=_percent, metavar="PERCENT", help="slow sky change kept in the film (60)")
    parser.add_argument("--ramp", type=_seconds, metavar="SECONDS", help="film time over which the exposure may turn (4)")
    parser.add_argument("--keep-flicker", action="store_true", help="leave the camera's frame-to-frame flicker in")
    parser.add_argument("--as-shot", action="store_true", help="do not even the light at all")
    parser.add_argument("--report", type=Path, metavar="FILE", help="write the survey and the gains as JSON")
    parser.add_argument("--overwrite", action="store_true", help="replace a film of the same name")


def run(options: argparse.Namespace) -> None:
    """Survey, even and film the folders or the project."""
    check_output(options.output, overwrite=options.overwrite)
    if options.report:
        check_report(options.report)
    surveyed, notes = surveyed_night(options.source)
    project = _with_options(surveyed.project, options)
    _film(surveyed, project, options.output, overwrite=options.overwrite)
    if options.report:
        report = survey_report(surveyed, project, level(surveyed, project), warnings=notes)
        write_report(options.report, report, project)
        say(f"Report written to {options.report}")


def _with_options(project: Project, options: argparse.Namespace) -> Project:
    """Return the project with the settings that the command line gave."""
    light = {
        "sky_kept": None if options.sky_kept is None else options.sky_kept / 100,
        "ramp_s": options.ramp,
        "flicker": False if options.keep_flicker else None,
        "even": False if options.as_shot else None,
    }
    film = {
        "fps": options.fps,
        "crop": options.crop,
        "size": options.size,
        "exact": None if options.size is None else True,
        "quality": options.quality,
    }
    return replace(project, light=_changed(project.light, light), film=_changed(project.film, film))


def _changed(settings: Settings, given: dict[str, Any]) -> Settings:
    return replace(settings, **{name: value for name, value in given.items() if value is not None})


def make_demo(folder: Path, output: Path) -> None:
    """Make the film of the demo night and say where it is."""
    surveyed, _ = surveyed_night([folder])
    _film(surveyed, surveyed.project, output, overwrite=True)


def _film(surveyed: Survey, project: Project, output: Path, *, overwrite: bool) -> None:
    with ProgressLine("Filming") as tick:
        done = make_film(project, level(surveyed, project), output, overwrite=overwrite, tick=tick)
    width, height = done.size
    print(f"{done.path}: {len(done.frames)} frames, {width} x {height}, {done.seconds:.2f} s, {done.bytes / 1e6:.1f} MB")


_NAMED_RATES = {"23.976": Fraction(24000, 1001), "29.97": Fraction(30000, 1001), "59.94": Fraction(60000, 1001)}


def _rate(text: str) -> Fraction:
    top, _, bottom = text.partition("/")
    rate = _NAMED_RATES.get(text) or Fraction(top) / max(Fraction(bottom or 1), Fraction(1, 1000))
    if not 1 <= rate <= 240:
        raise ValueError
    return rate


def _size(text: str) -> tuple[int, int]:
    width, _, height = text.lower().partition("x")
    size = int(width), int(height)
    if min(size) < 16 or max(size) > 8192:
        raise ValueError
    return size


def _percent(text: str) -> int:
    value = int(text)
    if not 0 <= value <= 100:
        raise ValueError
    return value


def _seconds(text: str) -> float:
    value = float(text)
    if not 0 < value <= 600:
        raise ValueError
    return value
