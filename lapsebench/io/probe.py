"""Opens a film file to see what is in it: frames, pixel size and rate, read by the encoder program itself."""

from __future__ import annotations

import re
import subprocess
from dataclasses import dataclass
from pathlib import Path

import imageio_ffmpeg

from lapsebench.errors import EncoderError

NO_WINDOW = getattr(subprocess, "CREATE_NO_WINDOW", 0)
"""Keeps a console from flashing up under Windows."""
_SIZE = re.compile(r"Video: .*?, (\d+)x(\d+)[ ,\n]")
_RATE = re.compile(r"Video: .*?, ([\d.]+) fps")
_FRAMES = re.compile(r"^frame=\s*(\d+)", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class FilmFacts:
    """What a film file holds: whole `frames`, (width, height) in pixels, frames per second to two decimals."""

    frames: int
    size: tuple[int, int]
    fps: float


def encoder_program() -> str:
    """Return the path of the encoder program; EncoderError if there is none."""
    try:
        return str(imageio_ffmpeg.get_ffmpeg_exe())
    except RuntimeError as error:
        raise encoder_missing() from error


def encoder_missing() -> EncoderError:
    """Return the error that says that the encoder program is not there or can't be started."""
    return EncoderError(
        "The video encoder can't be started.",
        "Install the program again, or set IMAGEIO_FFMPEG_EXE to the path of an ffmpeg program.",
    )


def probe(film: Path) -> FilmFacts:
    """Return what `film` holds, without decoding it; EncoderError where it can't be read as a film."""
    command = [encoder_program(), "-hide_banner", "-nostats", "-nostdin", "-progress", "pipe:1", "-i", str(film.absolute())]
    command += ["-map", "0:v:0", "-c", "copy", "-f", "null", "-"]
    try:
        ended = subprocess.run(command, capture_output=True, check=False, creationflags=NO_WINDOW, stdin=subprocess.DEVNULL)
    except OSError as error:
        raise encoder_missing() from error
    log, counted = ended.stderr.decode(errors="replace"), _FRAMES.findall(ended.stdout.decode(errors="replace"))
    size, rate = _SIZE.search(log), _RATE.search(log)
    if ended.returncode != 0 or not (size and rate and counted):
        raise EncoderError(f"{film.name} can't be read as a film.", "Make the film again.", log=log)
    return FilmFacts(frames=int(counted[-1]), size=(int(size[1]), int(size[2])), fps=float(rate[1]))
