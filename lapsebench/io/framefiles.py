"""Writes a film as a folder of single frames; each appears when it is whole, and work that was broken off can go on."""

from __future__ import annotations

import errno
import json
import os
from contextlib import suppress
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np

from lapsebench.core.filmframe import FilmFrame
from lapsebench.core.formats import FilmFormat
from lapsebench.errors import DiskFullError, EncoderError, OutputError
from lapsebench.io.atomic import write_json
from lapsebench.io.filmcheck import FilmCheck
from lapsebench.io.filmlimits import check_size
from lapsebench.io.filmpath import FRAMES_RECORD, PARTIAL_FRAME, film_path
from lapsebench.io.planecheck import frame_psnr
from lapsebench.io.stillfiles import exr_bytes, tiff_bytes


class FrameFiles:
    """A folder NAME with the frames NAME_00001.tif and so on of a film of `count` frames.

    `key` names the film: frames of a film with another key are replaced, if `overwrite` lets them; those with the same key
    are kept, and `wants` tells which are missing. What is whole stays when the work ends early. OutputError where the folder
    won't do.
    """

    check: FilmCheck

    def __init__(
        self,
        output: Path,
        *,
        size: tuple[int, int],
        fps: Fraction,
        count: int,
        key: str,
        form: FilmFormat,
        overwrite: bool = False,
    ) -> None:
        check_size(size, fps, form)
        self.path = film_path(output, form=form)
        self._size, self._fps, self._form, self._count = size, fps, form, count
        self._record = {"format": "lapsebench.frames", "version": 1, "film": key, "frames": count, "fps": str(fps)}
        self._fresh = not self._is_this_film()
        if self._fresh and self.path.is_dir() and any(self.path.iterdir()) and not overwrite:
            raise OutputError(
                f"{self.path} holds frames of another film.", "Choose another name, or allow it to be replaced."
            )
        self._sent: dict[int, FilmFrame] = {}

    def __enter__(self) -> Self:
        """Make the folder ready: OutputError where it can't be."""
        try:
            self.path.mkdir(exist_ok=True)
            for entry in self.path.iterdir():
                if self._fresh or entry.name.startswith(PARTIAL_FRAME) or not self._counts(entry):
                    entry.unlink()
        except OSError as error:
            raise _failure(self.path, error) from error
        write_json(self.path / FRAMES_RECORD, self._record)
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        """Leave what is whole; a folder without a frame is taken away."""
        with suppress(OSError):
            if {entry.name for entry in self.path.iterdir()} <= {FRAMES_RECORD}:
                (self.path / FRAMES_RECORD).unlink(missing_ok=True)
                self.path.rmdir()

    def wants(self, number: int) -> bool:
        """Return whether frame `number`, from 0, is still to be written."""
        return not self._file(number).is_file()

    def write(self, frame: FilmFrame, number: int) -> None:
        """Write frame `number`, coded for the format and of the film's size."""
        (plane,) = frame.planes
        if plane.shape != self._form.facts.shapes(self._size)[0] or plane.dtype != self._form.facts.sample:
            raise ValueError(f"a frame of {plane.dtype} {plane.shape} in a film of {self._size}")
        data = exr_bytes(plane) if self._form is FilmFormat.EXR else tiff_bytes(plane)
        part = self.path / f"{PARTIAL_FRAME}{os.getpid()}"
        try:
            part.write_bytes(data)
            part.replace(self._file(number))
        except OSError as error:
            with suppress(OSError):
                part.unlink(missing_ok=True)
            raise _failure(self.path, error) from error
        if not self._sent or number == self._count - 1:
            self._sent[number] = frame

    def finish(self) -> Path:
        """Look into the folder and return it; EncoderError where a frame is missing or not what was sent."""
        there = sum(not self.wants(number) for number in range(self._count))
        worst = min((frame_psnr(self._file(n), frame, self._form) for n, frame in self._sent.items()), default=np.inf)
        if there != self._count or worst < np.inf:
            raise EncoderError(f"The frames are not what was sent: {there} of {self._count}.", "Make them again.")
        seconds = float(self._count / self._fps)
        self.check = FilmCheck(self._count, self._size, self._fps, seconds, "", None, float(worst))
        return self.path

    def _file(self, number: int) -> Path:
        return self.path / f"{self.path.name}_{number + 1:05}{self._form.facts.frame_suffix}"

    def _counts(self, entry: Path) -> bool:
        """Return whether a file of the folder belongs to this film."""
        number = entry.stem.rpartition("_")[2]
        return entry.name == FRAMES_RECORD or (number.isdecimal() and entry == self._file(int(number) - 1))

    def _is_this_film(self) -> bool:
        record: Any = None
        with suppress(OSError, ValueError):
            record = json.loads((self.path / FRAMES_RECORD).read_text(encoding="utf-8"))
        return bool(record == self._record)


def _failure(folder: Path, error: OSError) -> OutputError:
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return DiskFullError("The disk is full; the frames so far are kept.", "Free some space and make the film again.")
    return OutputError(f"{folder} can't be written to: {error.strerror}.", "Choose another folder.")
