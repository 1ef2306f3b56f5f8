"""Makes an evened film of a night."""

from __future__ import annotations

import argparse
from dataclasses import replace
from functools import partial
from itertools import chain, count
from pathlib import Path
from typing import Any, TypeVar

from lapsebench.cli.flash import tell_flashes
from lapsebench.cli.framing import framing_arguments, with_framing
from lapsebench.cli.looks import check_looks, look_arguments, with_looks
from lapsebench.cli.progressline import ProgressLine, say
from lapsebench.cli.reading import number, told, within
from lapsebench.cli.survey import as_told, night_arguments, surveyed_night
from lapsebench.core.filmlight import LightSettings
from lapsebench.core.filmsettings import Crop, FilmSettings
from lapsebench.core.formats import FilmFormat
from lapsebench.core.presets import Preset, with_preset
from lapsebench.core.project import Project
from lapsebench.core.rates import rate_of
from lapsebench.core.sound import Loudness, Sound
from lapsebench.errors import OutputError
from lapsebench.io.projectfile import SUFFIX
from lapsebench.io.sound import check_sound
from lapsebench.services.film import FilmDone, check_output, make_film
from lapsebench.services.filmreport import film_report
from lapsebench.services.poster import picture_path, save_picture
from lapsebench.services.report import check_report, survey_report, write_report
from lapsebench.services.survey import Survey, level, responses_at, used_frames

Settings = TypeVar("Settings", LightSettings, FilmSettings)
_LOUDNESS = {"-14": Loudness.NET, "-23": Loudness.BROADCAST, "off": Loudness.OFF}


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments; those not given are the project's, or the defaults named in their help."""
    rate = number(rate_of, 1, 240, "frame rate from 1 to 240, such as 25, 23.976 or 30000/1001")
    size = told(_size, "size from 16x16 to 8192x8192, such as 1920x1080")
    percent = number(int, 0, 100, "whole number from 0 to 100")
    start = number(float, 0, 86_400, "time from 0 to 86400 seconds")
    ramp = number(float, 0.1, 600, "time from 0.1 to 600 seconds")
    parser.add_argument("source", nargs="+", type=Path, metavar="SOURCE", help="folders of frames, or one project file")
    parser.add_argument(
        "-o", "--output", type=Path, required=True, metavar="FILE", help="the film; a folder for formats of single frames"
    )
    parser.add_argument("--fps", type=rate, metavar="RATE", help="frames a second: 25, 23.976, 30000/1001 ... (25)")
    parser.add_argument("--size", type=size, metavar="WxH", help="exact size in pixels; the source's when not given")
    parser.add_argument("--crop", type=Crop, choices=list(Crop), help="shape of the film (source)")
    parser.add_argument("--format", type=FilmFormat, choices=list(FilmFormat), help=_formats_help())
    parser.add_argument("--sound", type=Path, metavar="FILE", help="music under the film, cut to its length and faded out")
    parser.add_argument(
        "--sound-start", type=start, default=0.0, metavar="S", help="where in the music to start, seconds (0)"
    )
    parser.add_argument("--loudness", choices=list(_LOUDNESS), default="-14", help="LUFS the music is brought to (-14)")
    parser.add_argument("--hardware", action="store_true", help="encode on the graphics processor where that works")
    parser.add_argument("--quality", type=percent, metavar="0-100", help="100 is visually lossless (70)")
    parser.add_argument("--fine", action="store_true", help="RAW: work out the finest detail, which takes longer")
    parser.add_argument("--mend-hot", action="store_true", help="RAW: take out hot pixels, learnt shot by shot")
    parser.add_argument("--preset", choices=[preset.value for preset in Preset], help="the light of a kind of night")
    parser.add_argument("--sky-kept", type=percent, metavar="PERCENT", help="slow sky change kept in the film (60)")
    parser.add_argument("--ramp", type=ramp, metavar="SECONDS", help="film time over which the exposure may turn (4)")
    framing_arguments(parser)
    night_arguments(parser)
    look_arguments(parser)
    parser.add_argument("--keep-flicker", action="store_true", help="leave the camera's frame-to-frame flicker in")
    parser.add_argument("--even-colour", action="store_true", help="take out white balance that wandered")
    parser.add_argument("--as-shot", action="store_true", help="do not even the light at all")
    parser.add_argument("--report", type=Path, metavar="FILE", help="write the survey and the gains as JSON")
    parser.add_argument("--poster", type=Path, metavar="FILE", help="save a still of the film besides, .png, .tif or .jpg")
    parser.add_argument("--poster-frame", type=int, metavar="N", help="which frame of the film, from 1 (the middle one)")
    parser.add_argument("--overwrite", action="store_true", help="replace a film of the same name")


def run(options: argparse.Namespace) -> None:
    """Survey, even and film the folders or the project."""
    if options.report:
        check_report(options.report)
    check_looks(options)
    sound = _sound(options)
    if sound is not None:
        check_sound(sound)
    if options.format or not any(source.suffix == SUFFIX for source in options.source):
        _check_names(options, options.format or FilmFormat.H264)
    if options.size and options.crop:
        raise OutputError("--size gives the film its shape, and so does --crop.", "Give one of the two.")
    if options.size and (options.size[0] % 2 or options.size[1] % 2):
        say("A film has an even number of pixels both ways: the size is rounded to that.")
    surveyed, notes = surveyed_night(options.source, partial(_as_told, options))
    project = with_framing(_with_options(surveyed.project, options), options)
    poster = None if options.poster is None else _poster_frame(project, options)
    if (options.fine or options.mend_hot) and not any(frame.balance is not None for frame in project.frames):
        say("--fine and --mend-hot are for RAW; no frame here is RAW.")
    done = _film(surveyed, project, options.output, overwrite=options.overwrite)
    if poster is not None:
        light, responses = level(surveyed, project), responses_at(surveyed)
        still = options.poster
        path = save_picture(project, light, poster, still, responses=responses, overwrite=options.overwrite)
        say(f"Still saved to {path}")
    if options.report:
        report = survey_report(surveyed, project, level(surveyed, project), warnings=notes)
        report["film"] = film_report(done, project.film)
        write_report(options.report, report)
        say(f"Report written to {options.report}")


def _poster_frame(project: Project, options: argparse.Namespace) -> int:
    """Return the project's number of the frame to be saved; OutputError where there is none or it can't be saved."""
    picture_path(options.poster, project, overwrite=options.overwrite)
    used = used_frames(project)
    place = len(used) // 2 if options.poster_frame is None else options.poster_frame - 1
    if not 0 <= place < len(used):
        raise OutputError(f"The film has no frame {options.poster_frame}.", f"Give a number from 1 to {len(used)}.")
    return used[place]


def _check_names(options: argparse.Namespace, form: FilmFormat) -> None:
    """Raise OutputError where the film can't get its name, before hours of work are spent on it."""
    film_file = check_output(options.output, overwrite=options.overwrite, form=form)
    if options.report and options.report.absolute() == film_file.absolute():
        raise OutputError("Film and report have the same name.", "Give the report another one.")


def _as_told(options: argparse.Namespace, project: Project) -> Project:
    """Return the gathered project as the options want it, its film's name checked for the format it is of."""
    _check_names(options, options.format or project.film.format)
    return as_told(options, project)


def _with_options(project: Project, options: argparse.Namespace) -> Project:
    """Return the project with the settings that the command line gave; single ones count over a preset's."""
    start = project.light if options.preset is None else with_preset(project.light, Preset(options.preset))
    light = {
        "sky_kept": None if options.sky_kept is None else options.sky_kept / 100,
        "ramp_s": options.ramp,
        "flicker": False if options.keep_flicker else None,
        "even": False if options.as_shot else None,
        "colour": True if options.even_colour else None,
    }
    film = {
        "fps": options.fps,
        "crop": options.crop,
        "size": options.size,
        "exact": None if options.size is None else True,
        "quality": options.quality,
        "format": options.format,
        "sound": _sound(options),
        "hardware": True if options.hardware else None,
        "fine": True if options.fine else None,
        "mend_hot": True if options.mend_hot else None,
    }
    project = replace(project, light=_changed(start, light), film=_changed(project.film, film))
    return with_looks(project, options)


def _changed(settings: Settings, given: dict[str, Any]) -> Settings:
    return replace(settings, **{name: value for name, value in given.items() if value is not None})


def make_demo(folder: Path, into: Path) -> None:
    """Make the film of the demo night in the folder `into`, under a name that is free, and say where it is."""
    names = chain(["lapsebench-demo.mp4"], (f"lapsebench-demo-{n}.mp4" for n in count(2)))
    output = next(into / name for name in names if not (into / name).exists())
    surveyed, _ = surveyed_night([folder])
    _film(surveyed, surveyed.project, output, overwrite=False)


def _film(surveyed: Survey, project: Project, output: Path, *, overwrite: bool) -> FilmDone:
    with ProgressLine("Filming") as tick:
        done = make_film(
            project, level(surveyed, project), output, overwrite=overwrite, tick=tick, responses=responses_at(surveyed)
        )
    width, height = done.size
    print(f"{done.path}: {len(done.frames)} frames, {width} x {height}, {done.seconds:.2f} s, {done.bytes / 1e6:.1f} MB")
    if done.flash is not None:
        tell_flashes(done.path.name, done.flash)
    return done


def _formats_help() -> str:
    return "; ".join(f"{form}: {form.facts.purpose} ({form.facts.codec})" for form in FilmFormat) + " (h264)"


def _size(text: str) -> tuple[int, int]:
    width, height = (within(int(part), 16, 8192) for part in text.lower().split("x"))
    return width, height


def _sound(options: argparse.Namespace) -> Sound | None:
    if options.sound is None:
        return None
    return Sound(options.sound.absolute(), options.sound_start, loudness=_LOUDNESS[options.loudness])
