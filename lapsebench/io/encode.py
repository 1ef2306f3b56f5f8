"""Writes a film file: frames go through a pipe to the encoder, and the file gets its name only when it is whole.

H.264, 4:2:0, 8 bits: sRGB-coded R'G'B' turned into limited-range Y'CbCr with the BT.709 matrix (Rec. ITU-R BT.709-6, items 3
and 4) and tagged BT.709 in the container and in the stream (ITU-T H.273 code points 1, 1, 1, limited).
"""

from __future__ import annotations

import math
import subprocess
import threading
from collections import deque
from contextlib import suppress
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import IO, Self

import numpy as np
from numpy.typing import NDArray

from lapsebench.errors import DiskFullError, EncoderError, LapsebenchError, OutputError
from lapsebench.io.filmpath import film_path, partial_path, put_in_place
from lapsebench.io.probe import NO_WINDOW, encoder_missing, encoder_program, probe

_LOG_LINES = 15
_TO_BT709 = (
    "scale=in_range=pc:out_range=tv:out_color_matrix=bt709:out_chroma_loc=left"
    ":flags=bicubic+accurate_rnd+full_chroma_int+full_chroma_inp,format=yuv420p"
    ",setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv"
)
_TAGS = ["-color_primaries", "bt709", "-color_trc", "bt709", "-colorspace", "bt709", "-color_range", "tv"]
# Level 6.2, the highest of Rec. ITU-T H.264 table A-1: blocks of 16 x 16 pixels in a frame and in a second.
_MAX_SIDE, _MAX_BLOCKS, _MAX_BLOCK_RATE, _MAX_FPS = 8192, 139_264, 16_711_680, 240


def crf_of(quality: int) -> float:
    """Return x264's constant rate factor for a quality 0..100: straight from 32 over 24 at 40 and 18 at 70 to 12."""
    return 32.0 - 0.2 * min(max(quality, 0), 100)


def least_bytes(size: tuple[int, int], frames: int, quality: int) -> int:
    """Return the bytes a film of stills will hardly stay below: 0.01 bits a pixel at CRF 24, doubling every 6 down."""
    bits_per_pixel = 0.01 * math.exp2((24 - crf_of(quality)) / 6)
    return round(size[0] * size[1] * frames * bits_per_pixel / 8)


def check_size(size: tuple[int, int], fps: Fraction) -> None:
    """Raise OutputError where H.264 can't carry a film of `size` = (width, height) at `fps`."""
    width, height = size
    blocks = -(-width // 16) * -(-height // 16)
    if width % 2 or height % 2 or min(size) < 2:
        raise OutputError(f"A film can't be {width} x {height} pixels.", "Choose an even width and height.")
    if max(size) > _MAX_SIDE or blocks > _MAX_BLOCKS:
        raise OutputError(f"A film of {width} x {height} pixels is larger than players can show.", "Choose a smaller size.")
    if not 0 < fps <= _MAX_FPS or fps * blocks > _MAX_BLOCK_RATE:
        raise OutputError(
            f"A film of {width} x {height} pixels can't run at {float(fps):g} frames a second.",
            "Choose a smaller size or another rate.",
        )


class FilmWriter:
    """A film being written; leave its context without `finish` and nothing of it stays behind.

    `size` is (width, height), even; `fps` exact; `quality` 0..100, see `crf_of`. OutputError where one of them won't do.
    """

    def __init__(self, output: Path, *, size: tuple[int, int], fps: Fraction, quality: int, overwrite: bool = False) -> None:
        check_size(size, fps)
        self.path = film_path(output, overwrite=overwrite)
        self._size, self._fps, self._quality, self._overwrite = size, fps, quality, overwrite
        self._written = 0
        self._log: deque[str] = deque(maxlen=_LOG_LINES)

    def __enter__(self) -> Self:
        """Start the encoder; EncoderError if it is not there, OutputError if the folder can't be written."""
        program = encoder_program()
        self._partial = partial_path(self.path)
        try:
            self._encoder = _start([program, *self._arguments()])
        except BaseException:
            self._partial.unlink(missing_ok=True)
            raise
        self._pipe, messages = _pipes(self._encoder)
        self._drain = threading.Thread(target=_keep_last, args=(messages, self._log), name="encoder log", daemon=True)
        self._drain.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        """Kill the encoder if it still runs, and remove what is not finished."""
        self._stop()
        self._partial.unlink(missing_ok=True)

    def write(self, frame: NDArray[np.uint8]) -> None:
        """Add one frame, (h, w, 3) uint8 sRGB codes of the film's size."""
        if frame.shape != (self._size[1], self._size[0], 3) or frame.dtype != np.uint8:
            raise ValueError(f"a frame of {frame.dtype} {frame.shape} in a film of {self._size}")
        try:
            self._pipe.write(np.ascontiguousarray(frame).data)
        except OSError as error:
            raise self._failure() from error
        self._written += 1

    def finish(self) -> Path:
        """Close the film, look into the file, give it its name and return that; EncoderError if frames or size are wrong."""
        try:
            self._pipe.close()
        except OSError as error:
            raise self._failure() from error
        if self._encoder.wait() != 0:
            raise self._failure()
        self._check()
        put_in_place(self._partial, self.path, overwrite=self._overwrite)
        return self.path

    def _arguments(self) -> list[str]:
        rate = f"{self._fps.numerator}/{self._fps.denominator}"
        source = ["-f", "rawvideo", "-pix_fmt", "rgb24", "-video_size", "{}x{}".format(*self._size), "-framerate", rate]
        codec = ["-c:v", "libx264", "-preset", "medium", "-profile:v", "high", "-crf", f"{crf_of(self._quality):g}"]
        codec += ["-g", str(max(1, round(2 * self._fps)))]
        target = ["-movflags", "+faststart", "-f", self.path.suffix.lower()[1:], str(self._partial)]
        quiet = ["-hide_banner", "-nostats", "-loglevel", "warning", "-y"]
        return [*quiet, *source, "-i", "pipe:0", "-vf", _TO_BT709, *codec, *_TAGS, *target]

    def _check(self) -> None:
        facts = probe(self._partial)
        if facts.frames == self._written and facts.size == self._size and abs(facts.fps - self._fps) < 0.02:
            return
        raise EncoderError(
            f"The finished film is not what was sent to it: {facts.frames} of {self._written} frames, "
            f"{facts.size[0]} x {facts.size[1]} pixels, {facts.fps:g} frames a second.",
            "Make the film again.",
            log="\n".join(self._log),
        )

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


def _start(command: list[str]) -> subprocess.Popen[bytes]:
    try:
        return subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            creationflags=NO_WINDOW,
            start_new_session=True,  # so that Ctrl+C reaches us alone, and we decide
        )
    except OSError as error:
        raise encoder_missing() from error


def _pipes(process: subprocess.Popen[bytes]) -> tuple[IO[bytes], IO[bytes]]:
    """Return the pipe into the process and the one with its messages."""
    if process.stdin is None or process.stderr is None:
        raise RuntimeError("the encoder was started without pipes")
    return process.stdin, process.stderr


def _keep_last(stream: IO[bytes], log: deque[str]) -> None:
    with stream:
        log.extend(line.decode(errors="replace").rstrip() for line in stream)
