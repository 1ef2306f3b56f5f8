"""The encoder program: where it is, how it is started, and what is said where it can't be."""

from __future__ import annotations

import subprocess

import imageio_ffmpeg

from lapsebench.errors import EncoderError

NO_WINDOW = getattr(subprocess, "CREATE_NO_WINDOW", 0)
"""Keeps a console from flashing up under Windows."""


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


def started(command: list[str]) -> subprocess.Popen[bytes]:
    """Start the encoder program with a pipe into it and one with its messages; EncoderError if it can't be."""
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


def ran(arguments: list[str]) -> subprocess.CompletedProcess[bytes]:
    """Run the encoder program to its end and return what it said; EncoderError if it can't be started."""
    command = [encoder_program(), "-hide_banner", "-nostats", "-nostdin", "-y", *arguments]
    try:
        return subprocess.run(command, capture_output=True, check=False, creationflags=NO_WINDOW, stdin=subprocess.DEVNULL)
    except OSError as error:
        raise encoder_missing() from error
