"""What stands beside the program: nothing done, EXIF alone, and a stock filter that averages brightness."""

from __future__ import annotations

import subprocess

import numpy as np
from imageio_ffmpeg import get_ffmpeg_exe

from lapsebench.core.transfer import luminance
from nights.curves import Codes
from nights.night import Night
from nights.program import decoded
from nights.waves import Floats, Image

DEFLICKER_SIZES = (5, 25)
"""Frames that the stock filter averages over."""
_MID_TONES = (0.02, 0.5)  # linear light


def exif_only(night: Night) -> Floats:
    """Return the gain that undoes the marks the files tell of, (n,) stops; untold frames take the last told one's."""
    marks = [frame.exposure_ev for frame in night.frames]
    last = next((ev for ev in marks if ev is not None), 0.0)
    told = []
    for ev in marks:
        last = last if ev is None else ev
        told.append(last)
    return float(np.mean(told)) - np.array(told)


def deflickered(night: Night, size: int) -> Floats:
    """Return the gain of ffmpeg's own deflicker filter over `size` frames, (n,) stops, as its pixels tell it."""
    pictures = [codes if codes.dtype == np.uint8 else (codes >> 8).astype(np.uint8) for codes in night.codes]
    height, width = pictures[0].shape[:2]
    raw = ["-f", "rawvideo", "-pix_fmt", "rgb24"]
    command = [
        get_ffmpeg_exe(),
        "-loglevel",
        "error",
        "-threads",
        "1",
        *raw,
        "-video_size",
        f"{width}x{height}",
        "-i",
        "pipe:0",
    ]
    command += ["-vf", f"format=yuv444p,deflicker=size={size}:mode=am", *raw, "pipe:1"]
    sent = b"".join(np.ascontiguousarray(picture).tobytes() for picture in pictures)
    got = subprocess.run(command, input=sent, stdout=subprocess.PIPE, check=True).stdout
    films = np.frombuffer(got, np.uint8).reshape(-1, height, width, 3)
    return np.array([_gain(before, after) for before, after in zip(pictures, films, strict=True)])


def _gain(before: Codes, after: Codes) -> float:
    """Return the median gain of the mid-tones, stops."""
    light, film = _reduced(before), _reduced(after)
    mid = (light > _MID_TONES[0]) & (light < _MID_TONES[1]) & (film > 0.005) & (film < 0.9)
    return float(np.median(np.log2(film[mid] / light[mid]))) if mid.sum() > 20 else 0.0


def _reduced(codes: Codes) -> Image:
    """Return the luminance of blocks of 4 x 4 px: what rounding does to a px is averaged out."""
    light: Image = luminance(decoded(codes))
    rows, cols = light.shape[0] // 4, light.shape[1] // 4
    return np.asarray(light[: 4 * rows, : 4 * cols].reshape(rows, 4, cols, 4).mean(axis=(1, 3)))
