"""Makes the film: every used frame with its gain, framed and encoded, in place only when whole."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.curves import Responses
from lapsebench.core.filmlight import FilmLight
from lapsebench.core.gains import GainEv
from lapsebench.core.progress import Tick, silent
from lapsebench.core.project import Project
from lapsebench.core.sequence import Frame
from lapsebench.errors import FrameError, OutputError
from lapsebench.imaging.framing import Framing, framing_of, on_black
from lapsebench.io.encode import FilmWriter, check_size, least_bytes
from lapsebench.io.filmpath import film_path, fits
from lapsebench.services.care import cares_of
from lapsebench.services.preview import rendered
from lapsebench.services.stills import Care, Still, plain, read_still, size_of
from lapsebench.services.survey import used_frames

_MEMORY = 2_000_000_000
"""Bytes that frames in work may take together."""
_BYTES_PER_PIXEL, _PLAIN_BYTES_PER_PIXEL = 40, 12  # codes and 16-bit light of one frame, and float light unless it is plain

Codes = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Gain:
    """Stops of a frame's gain, one or of R, G and B, and the responses it goes through."""

    ev: GainEv
    responses: Responses


@dataclass(frozen=True, slots=True)
class FilmDone:
    """A finished film: where it is, frames in it, pixel size, seconds of film, bytes, frames a second."""

    path: Path
    frames: tuple[int, ...]
    size: tuple[int, int]
    seconds: float
    bytes: int
    fps: Fraction


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
    is gone or can't be decoded, EncoderError where the encoder fails, and what `tick` raises; nothing is left behind then.
    """
    numbers = tuple(used_frames(project) if frames is None else frames)
    if not numbers:
        raise OutputError("Nothing to film: no frame is in use.", "Take frames in, or move the in and out points.")
    path = check_output(output, overwrite=overwrite, project=project)
    stills = [project.frames[number] for number in numbers]
    for still in stills:
        _check_there(still)
    tick(0, len(numbers))
    framing, workers = _plan(project, stills[0])
    fps, quality = project.film.fps, project.film.quality
    check_size(framing.size, fps)
    fits(path, least_bytes(framing.size, len(numbers), quality))
    cares = cares_of(project, numbers, lambda: tick(0, len(numbers)))
    gains = [Gain(light.gains_of(number), responses[number] if responses else ()) for number in numbers]
    with FilmWriter(path, size=framing.size, fps=fps, quality=quality, overwrite=overwrite) as film:
        _write_all(film, stills, gains, cares, framing, workers=workers, tick=tick)
        film.finish()
    return FilmDone(path, numbers, framing.size, float(len(numbers) / fps), path.stat().st_size, fps)


def check_output(output: Path, *, overwrite: bool = False, project: Project | None = None) -> Path:
    """Return the path a film would get, with its suffix; OutputError where it can't or must not be written."""
    return film_path(output, overwrite=overwrite, sources=(frame.path for frame in project.frames) if project else ())


def _write_all(
    film: FilmWriter,
    stills: list[Frame],
    gains: list[Gain],
    cares: list[Care],
    framing: Framing,
    *,
    workers: int,
    tick: Tick,
) -> None:
    """Send every still to the film in order, a few of them being made ready at a time."""
    work = zip(stills, gains, cares, strict=True)
    jobs = [partial(_film_picture, still, gain, care, framing) for still, gain, care in work]
    pool = ThreadPoolExecutor(workers, thread_name_prefix="film")
    try:
        for done, codes in enumerate(_in_order(pool, jobs, ahead=workers + 1), start=1):
            film.write(codes)
            tick(done, len(jobs))
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _in_order(pool: Executor, jobs: Sequence[Callable[[], Codes]], *, ahead: int) -> Iterator[Codes]:
    """Yield the results of `jobs` in order, with at most `ahead` of them begun and not yet yielded."""
    waiting: deque[Future[Codes]] = deque()
    for job in jobs:
        waiting.append(pool.submit(job))
        if len(waiting) >= ahead:
            yield waiting.popleft().result()
    while waiting:
        yield waiting.popleft().result()


def _film_picture(still: Frame, gain: Gain, care: Care, framing: Framing) -> Codes:
    """Return the still as it is in the film, (h, w, 3) of the film's size."""
    read = _read(still, care)
    return on_black(rendered(read, gain.ev, framing.placing(size_of(read)), gain.responses), framing.size)


def _read(still: Frame, care: Care | None = None) -> Still:
    try:
        return read_still(still, care=care)
    except FrameError as error:
        raise FrameError(f"{error.what} The film was not made.", error.remedy) from error


def _check_there(still: Frame) -> None:
    if not still.path.is_file():
        raise FrameError(f"{still.path} is not there any more.", "Put it back, or leave it out of the film.")


def _plan(project: Project, first: Frame) -> tuple[Framing, int]:
    """Return the film's framing and how many stills like the first may be in work at once, 1 to 3."""
    read = _read(first)
    width, height = size_of(read)
    need = width * height * (_PLAIN_BYTES_PER_PIXEL if plain(read) else _BYTES_PER_PIXEL)
    return framing_of(project.film, (width, height)), max(1, min(3, _MEMORY // need))
