"""Makes the film: every used frame with its gain, framed and encoded, in place only when whole."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path

from lapsebench.core.bodies import by_clocks
from lapsebench.core.curves import Responses
from lapsebench.core.filmlight import FilmLight
from lapsebench.core.filmsettings import FilmSettings
from lapsebench.core.flash import FlashMeter, FlashReport, analysis_size
from lapsebench.core.formatfacts import FilmKind
from lapsebench.core.formats import FilmFormat
from lapsebench.core.progress import Tick, silent
from lapsebench.core.project import Project
from lapsebench.core.sequence import Frame
from lapsebench.core.view import View
from lapsebench.errors import FrameError, OutputError
from lapsebench.imaging.framing import Framing, framing_of
from lapsebench.io.encode import FilmWriter
from lapsebench.io.encoders import FilmLabels
from lapsebench.io.filmcheck import FilmCheck
from lapsebench.io.filmlimits import check_size
from lapsebench.io.filmpath import film_path, fits
from lapsebench.io.framefiles import FrameFiles
from lapsebench.io.hardware import hardware_encoder
from lapsebench.io.sound import prepared
from lapsebench.services.care import cares_of
from lapsebench.services.filmplan import loop_size, loop_step
from lapsebench.services.filmwork import FilmPictures, Gain, film_key, in_order, read_film_still, shown_of
from lapsebench.services.stills import plain, size_of
from lapsebench.services.survey import used_frames

_MEMORY = 2_000_000_000
"""Bytes that frames in work may take together."""
_BYTES_PER_PIXEL, _PLAIN_BYTES_PER_PIXEL = 40, 16  # codes and float light of one frame, and developing unless it is plain


@dataclass(frozen=True, slots=True)
class FilmDone:
    """A finished film: where it is, frames in it, pixel size, seconds of film, bytes, frames a second.

    `check`: what was found in the file when it was looked into. `flash`: flashes found in the frames that went into it.
    `kept`: frames of it that were there before, of a folder.
    """

    path: Path
    frames: tuple[int, ...]
    size: tuple[int, int]
    seconds: float
    bytes: int
    fps: Fraction
    check: FilmCheck | None = field(default=None, compare=False)
    flash: FlashReport | None = field(default=None, compare=False)
    kept: int = 0


def make_film(
    project: Project,
    light: FilmLight,
    output: Path,
    *,
    overwrite: bool = False,
    tick: Tick = silent,
    frames: Sequence[int] | None = None,
    responses: Sequence[Responses] = (),
) -> FilmDone:
    """Encode the used frames of the project, or `frames` (numbers in the project), with their gains to `output`.

    `responses`: of every frame of the project, those that its gain was measured through; none for sRGB.

    Sources are only read. Raises OutputError or DiskFullError where the film can't be written, FrameError for a still that
    is gone or can't be decoded, EncoderError where the encoder fails, SoundError for the sound, and what `tick` raises;
    nothing is left behind then, but of a folder of frames those that are whole: asked again, the work goes on with them.
    """
    numbers = tuple(used_frames(project) if frames is None else frames)
    if not numbers:
        raise OutputError("Nothing to film: no frame is in use.", "Take frames in, or move the in and out points.")
    path = check_output(output, overwrite=overwrite, project=project)
    form, quality = project.film.format, project.film.quality
    numbers, fps = _thinned(numbers, project.film)
    stills = [project.frames[number] for number in numbers]
    for still in stills:
        _check_there(still)
    tick(0, len(numbers))
    if project.film.sound is not None and form.facts.kind is not FilmKind.FILM:
        raise OutputError(f"{form.facts.codec} carries no sound.", "Choose another format, or take the sound out.")
    shown = shown_of(project, numbers)
    framing, workers = _plan(project, stills[0], shown[0].view)
    check_size(framing.size, fps, form)
    fits(path, form.facts.least_bytes(framing.size, len(numbers), quality))
    cares = cares_of(project, numbers, lambda: tick(0, len(numbers)))
    gains = [Gain(light.gains_of(number), responses[number] if responses else ()) for number in numbers]
    pictures = FilmPictures(stills, gains, cares, shown, framing, form)
    meter = FlashMeter(analysis_size(framing.size), float(fps), hdr=form.facts.hdr)
    if form.facts.kind is FilmKind.FRAMES:
        key = film_key(project, stills, gains)
        check = _write_folder(path, pictures, fps, key, meter, workers=workers, overwrite=overwrite, tick=tick)
    else:
        check = _write_film(path, project, pictures, fps, meter, workers=workers, overwrite=overwrite, tick=tick)
    flash = meter.report()
    kept = len(numbers) - flash.frames
    if kept:
        flash = replace(flash, problem=f"{kept} frames were there before and are not examined.")
    return FilmDone(path, numbers, framing.size, float(len(numbers) / fps), _bytes_of(path), fps, check, flash, kept)


def check_output(
    output: Path, *, overwrite: bool = False, project: Project | None = None, form: FilmFormat | None = None
) -> Path:
    """Return the path a film would get, with its suffix; OutputError where it can't or must not be written.

    `form`: the project's where not given.
    """
    sources = (frame.path for frame in project.frames) if project else ()
    form = form or (project.film.format if project else FilmFormat.H264)
    return film_path(output, form=form, overwrite=overwrite, sources=sources)


def _write_film(
    path: Path,
    project: Project,
    pictures: FilmPictures,
    fps: Fraction,
    meter: FlashMeter,
    *,
    workers: int,
    overwrite: bool,
    tick: Tick,
) -> FilmCheck:
    """Write a film, with the project's sound under it and the time of its first frame."""
    count, film = len(pictures), project.film
    (first,) = by_clocks(pictures.stills[:1], project.clocks)
    with (
        prepared(film.sound, float(count / fps)) as sound,
        FilmWriter(
            path,
            size=pictures.framing.size,
            fps=fps,
            quality=film.quality,
            form=film.format,
            labels=FilmLabels(path.stem, first.taken),
            encoder=hardware_encoder(film.format) if film.hardware else None,
            overwrite=overwrite,
            sound=sound,
        ) as writer,
    ):
        for done, made in enumerate(in_order(pictures, range(count), workers), start=1):
            writer.write(made.frame)
            meter.add(made.small)
            tick(done, count)
        writer.finish()
    return writer.check


def _write_folder(
    path: Path,
    pictures: FilmPictures,
    fps: Fraction,
    key: str,
    meter: FlashMeter,
    *,
    workers: int,
    overwrite: bool,
    tick: Tick,
) -> FilmCheck:
    """Write the frames that are not in the folder yet."""
    count, size, form = len(pictures), pictures.framing.size, pictures.form
    with FrameFiles(path, size=size, fps=fps, count=count, key=key, form=form, overwrite=overwrite) as folder:
        wanted = [number for number in range(count) if folder.wants(number)]
        for done, made in enumerate(in_order(pictures, wanted, workers)):
            folder.write(made.frame, wanted[done])
            meter.add(made.small, float(wanted[done] / fps))
            tick(count - len(wanted) + done + 1, count)
        folder.finish()
    return folder.check


def _bytes_of(path: Path) -> int:
    return sum(file.stat().st_size for file in path.iterdir()) if path.is_dir() else path.stat().st_size


def _thinned(numbers: tuple[int, ...], settings: FilmSettings) -> tuple[tuple[int, ...], Fraction]:
    """Return the frames and the rate; of a loop every n-th."""
    if settings.format.facts.kind is not FilmKind.ANIMATION:
        return numbers, settings.fps
    step = loop_step(len(numbers), settings.fps)
    return numbers[::step], settings.fps / step


def _check_there(still: Frame) -> None:
    if not still.path.is_file():
        raise FrameError(f"{still.path} is not there any more.", "Put it back, or leave it out of the film.")


def _plan(project: Project, first: Frame, view: View) -> tuple[Framing, int]:
    """Return the film's framing and how many stills like the first may be in work at once, 1 to 3."""
    read, settings = read_film_still(first), project.film
    width, height = size_of(read)
    is_plain = plain(read) and not settings.format.facts.deep
    need = width * height * (_PLAIN_BYTES_PER_PIXEL if is_plain else _BYTES_PER_PIXEL)
    framing = framing_of(settings, (width, height), view)
    if settings.format.facts.kind is FilmKind.ANIMATION and loop_size(framing.size) != framing.size:
        framing = framing_of(replace(settings, size=loop_size(framing.size), exact=True), (width, height), view)
    return framing, max(1, min(3, _MEMORY // need))
