"""Writes a film file: frames go through a pipe to the encoder, and the file gets its name only when whole and checked."""

from __future__ import annotations

import subprocess
import threading
from collections import deque
from contextlib import suppress
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import IO, Self

import numpy as np

from lapsebench.core.filmframe import FilmFrame, LightLevel
from lapsebench.core.formats import FilmFormat
from lapsebench.errors import DiskFullError, EncoderError, LapsebenchError, OutputError
from lapsebench.io.encoders import FilmLabels, encoder_arguments, muxer
from lapsebench.io.filmcheck import FilmCheck, Sent, check_film
from lapsebench.io.filmlimits import check_size
from lapsebench.io.filmpath import film_path, partial_path, put_in_place
from lapsebench.io.lightlevel import write_light_level
from lapsebench.io.program import encoder_program, started
from lapsebench.io.unfinished import forget, note

_LOG_LINES = 15


class FilmWriter:
    """A film being written; leave its context without `finish` and nothing of it stays behind.

    `size` is (width, height), even; `fps` exact; `quality` 0..100. OutputError where one of them won't do. `encoder`: one of
    `io.hardware` in the place of the format's own. `sound`: a file of the film's length, see `io.sound`. After `finish`,
    `check` is what was found in the film.
    """

    check: FilmCheck

    def __init__(
        self,
        output: Path,
        *,
        size: tuple[int, int],
        fps: Fraction,
        quality: int,
        form: FilmFormat = FilmFormat.H264,
        labels: FilmLabels | None = None,
        encoder: str | None = None,
        sound: Path | None = None,
        overwrite: bool = False,
    ) -> None:
        check_size(size, fps, form)
        self.path = film_path(output, form=form, overwrite=overwrite)
        self._size, self._fps, self._form, self._overwrite = size, fps, form, overwrite
        self._arguments = encoder_arguments(
            form, size=size, fps=fps, quality=quality, labels=labels or FilmLabels(), encoder=encoder, sound=sound
        )
        self._sound = sound is not None
        self._frames: list[FilmFrame] = []  # the first and the last
        self._written, self._level = 0, LightLevel(0.0, 0.0)
        self._log: deque[str] = deque(maxlen=_LOG_LINES)

    def __enter__(self) -> Self:
        """Start the encoder; EncoderError if it is not there, OutputError if the folder can't be written."""
        program = encoder_program()
        self._partial = partial_path(self.path)
        self._noted = note(self._partial)
        quiet = ["-hide_banner", "-nostats", "-loglevel", "warning", "-y"]
        try:
            self._encoder = started([program, *quiet, *self._arguments, "-f", muxer(self.path), str(self._partial)])
        except BaseException:
            self._take_away()
            raise
        self._pipe, messages = _pipes(self._encoder)
        self._drain = threading.Thread(target=_keep_last, args=(messages, self._log), name="encoder log", daemon=True)
        self._drain.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        """Kill the encoder if it still runs, and remove what is not finished."""
        self._stop()
        self._take_away()

    def _take_away(self) -> None:
        self._partial.unlink(missing_ok=True)
        forget(self._noted)

    def write(self, frame: FilmFrame) -> None:
        """Add one frame, coded for the film's format and of its size."""
        facts = self._form.facts
        shapes = tuple(plane.shape for plane in frame.planes)
        if shapes != facts.shapes(self._size) or any(plane.dtype != facts.sample for plane in frame.planes):
            raise ValueError(f"a frame of {frame.planes[0].dtype} {shapes} in a film of {self._size}")
        try:
            for plane in frame.planes:
                self._pipe.write(np.ascontiguousarray(plane).data)
        except OSError as error:
            raise self._failure() from error
        self._written += 1
        self._frames = [*self._frames[:1], frame]
        if frame.level is not None:
            self._level = LightLevel(max(self._level.most, frame.level.most), max(self._level.mean, frame.level.mean))

    def finish(self) -> Path:
        """Close the film, look into the file, give it its name and return that; EncoderError if it is not what was sent."""
        if not self._written:
            raise ValueError("a film without frames")
        try:
            self._pipe.close()
        except OSError as error:
            raise self._failure() from error
        if self._encoder.wait() != 0:
            raise self._failure()
        level = write_light_level(self._partial, self._level) if self._form is FilmFormat.PQ else None
        first, last = self._frames[0], self._frames[-1]
        sent = Sent(self._form, self._written, self._size, self._fps, first, last, level, self._sound)
        self.check = check_film(self._partial, sent)
        put_in_place(self._partial, self.path, overwrite=self._overwrite)
        return self.path

    def _failure(self) -> LapsebenchError:
        """Return the error for an encoder that stopped too early, from the last lines of its log."""
        with suppress(subprocess.TimeoutExpired):
            self._encoder.wait(timeout=10)
        self._stop()
        log, code = "\n".join(self._log), self._encoder.returncode
        if "No space left" in log or "quota exceeded" in log:
            return DiskFullError("The disk is full; no film was made.", "Free some space or choose another folder.")
        if "File too large" in log:
            return OutputError(
                f"{self.path.parent} can't hold a file this large.", "Choose another disk, or a lower quality."
            )
        remedy = "Try again; if it was out of memory, choose a smaller size."
        return EncoderError(f"The video encoder stopped too early (code {code}); no film was made.", remedy, log=log)

    def _stop(self) -> None:
        with suppress(OSError):
            self._encoder.kill()
        self._encoder.wait()
        with suppress(OSError):
            self._pipe.close()
        self._drain.join()


def _pipes(process: subprocess.Popen[bytes]) -> tuple[IO[bytes], IO[bytes]]:
    """Return the pipe into the process and the one with its messages."""
    if process.stdin is None or process.stderr is None:
        raise RuntimeError("the encoder was started without pipes")
    return process.stdin, process.stderr


def _keep_last(stream: IO[bytes], log: deque[str]) -> None:
    with stream:
        log.extend(line.decode(errors="replace").rstrip() for line in stream)
