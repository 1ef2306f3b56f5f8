"""The pictures of a film, made ready a few at a time and handed on in order."""

from __future__ import annotations

import hashlib
from collections import deque
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lapsebench import __version__
from lapsebench.core.curves import Responses
from lapsebench.core.filmframe import FilmFrame
from lapsebench.core.formats import FilmFormat
from lapsebench.core.gains import GainEv
from lapsebench.core.project import Project
from lapsebench.core.sequence import Frame
from lapsebench.core.view import View
from lapsebench.errors import FrameError
from lapsebench.imaging.flashpicture import flash_picture
from lapsebench.imaging.framing import Framing, on_black
from lapsebench.imaging.planes import film_frame
from lapsebench.services.finish import PLAIN, Finish, finish_of
from lapsebench.services.preview import film_picture
from lapsebench.services.stills import Care, Still, read_still, size_of


@dataclass(frozen=True, slots=True)
class Gain:
    """Stops of a frame's gain, one or of R, G and B, and the responses it goes through."""

    ev: GainEv
    responses: Responses


@dataclass(frozen=True, slots=True)
class Shown:
    """How a frame is shown: the finish and view of its shot, and at what share 0..1 of the shot's film time."""

    finish: Finish
    view: View
    share: float


def shown_of(project: Project, numbers: Sequence[int]) -> list[Shown]:
    """Return how each of the film's frames `numbers` is shown. Raises LapsebenchError where a look can't be used."""
    shown = dict.fromkeys(numbers, Shown(PLAIN, View(), 0.0))
    for shot in project.shots:
        members = [number for number in numbers if number in shot.frames]
        finish = finish_of(shot.look) if members else PLAIN
        last = max(len(members) - 1, 1)
        shown |= {number: Shown(finish, shot.view, place / last) for place, number in enumerate(members)}
    return [shown[number] for number in numbers]


@dataclass(frozen=True, slots=True)
class Made:
    """A frame of the film, coded, and the small picture in which flashes are looked for."""

    frame: FilmFrame
    small: NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class FilmPictures:
    """The frames of a film: their stills, gains, care and how each is shown, in order, the framing, and the format."""

    stills: Sequence[Frame]
    gains: Sequence[Gain]
    cares: Sequence[Care]
    shown: Sequence[Shown]
    framing: Framing
    form: FilmFormat

    def __len__(self) -> int:
        return len(self.stills)

    def made(self, number: int) -> Made:
        """Return frame `number` as it is in the film, coded, and small. Raises FrameError."""
        read, gain = read_film_still(self.stills[number], self.cares[number]), self.gains[number]
        shown = self.shown[number]
        placing = self.framing.placing(size_of(read), shown.view, shown.share)
        picture = film_picture(read, gain.ev, placing, gain.responses, form=self.form, finish=shown.finish)
        whole = on_black(picture, self.framing.size)
        return Made(film_frame(whole, self.form, number), flash_picture(whole, hdr=self.form.facts.hdr))


def read_film_still(still: Frame, care: Care | None = None) -> Still:
    """Return a still for the film; FrameError says that there is none then."""
    try:
        return read_still(still, care=care)
    except FrameError as error:
        raise FrameError(f"{error.what} The film was not made.", error.remedy) from error


def in_order(pictures: FilmPictures, numbers: Sequence[int], workers: int) -> Iterator[Made]:
    """Yield the frames `numbers` in order, `workers` of them being made ready at a time."""
    pool = ThreadPoolExecutor(workers, thread_name_prefix="film")
    waiting: deque[Future[Made]] = deque()
    try:
        for number in numbers:
            waiting.append(pool.submit(pictures.made, number))
            if len(waiting) > workers:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def film_key(project: Project, stills: Sequence[Frame], gains: Sequence[Gain]) -> str:
    """Return what tells this film from others: its frames and tables, as their files are now, gains, and all settings."""
    told = hashlib.sha256(f"{__version__} {replace(project, frames=(), sources=())!r}".encode())
    for still, gain in zip(stills, gains, strict=True):
        state = still.path.stat()
        told.update(f"{still!r} {state.st_size} {state.st_mtime_ns} {gain!r}".encode(errors="replace"))
    for shot in project.shots:
        if shot.look.lut is not None and shot.look.uses_lut:
            told.update(Path(shot.look.lut).read_bytes())
    return told.hexdigest()
