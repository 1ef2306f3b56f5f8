"""Looks into a finished film before it gets its name: opened and decoded by a library that took no part in making it."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import av
import numpy as np
from av.sidedata.sidedata import Type as SideData
from PIL import Image

from lapsebench.core.filmframe import FilmFrame
from lapsebench.core.formatfacts import FilmKind, FormatFacts
from lapsebench.core.formats import FilmFormat
from lapsebench.errors import EncoderError
from lapsebench.io.planecheck import planes_of, psnr_of

_LEAST_PSNR_DB = 12.0  # what even pure noise at the lowest quality keeps
_SOUND_SLACK_S = 0.1  # sound comes in packets of some 20 ms


@dataclass(frozen=True, slots=True)
class FilmCheck:
    """What was found in a finished film.

    `tag`: the codec's four letters. `colour`: H.273 primaries, transfer, matrix, and range (1 limited, 2 full).
    `psnr_db`: of the first and last frame against what was sent, the worse plane, infinite where all is equal.
    `light_level`: MaxCLL and MaxFALL of PQ, cd/m2. `sound_s`: seconds of sound, None without.
    """

    frames: int
    size: tuple[int, int]
    fps: Fraction
    seconds: float
    tag: str
    colour: tuple[int, int, int, int] | None
    psnr_db: float
    light_level: tuple[int, int] | None = None
    sound_s: float | None = None


@dataclass(frozen=True, slots=True)
class Sent:
    """What a film ought to hold: how many frames of what size at what rate, the first and the last of them, its level,
    and whether there is sound under it.
    """

    form: FilmFormat
    frames: int
    size: tuple[int, int]
    fps: Fraction
    first: FilmFrame
    last: FilmFrame
    light_level: tuple[int, int] | None = None
    sound: bool = False


def check_film(film: Path, sent: Sent) -> FilmCheck:
    """Return what `film` holds; EncoderError where it can't be read as a film or is not what was sent."""
    animation = sent.form.facts.kind is FilmKind.ANIMATION
    try:
        found = _animation(film, sent) if animation else _film(film, sent)
    except (av.FFmpegError, OSError, ValueError, ArithmeticError, LookupError, EOFError, StopIteration) as error:
        raise EncoderError(f"{film.name} can't be read as a film.", "Make the film again.", log=str(error)) from error
    wrong = _differences(found, sent)
    if wrong:
        raise EncoderError(f"The finished film is not what was sent to it: {'; '.join(wrong)}.", "Make the film again.")
    return found


def _differences(found: FilmCheck, sent: Sent) -> list[str]:
    """Return in words what differs."""
    facts = sent.form.facts
    told = []
    if found.frames != sent.frames:
        told.append(f"{found.frames} of {sent.frames} frames")
    if found.size != sent.size:
        told.append("{} x {} pixels".format(*found.size))
    if abs(found.fps / sent.fps - 1) > 1e-4 or abs(found.seconds - sent.frames / sent.fps) > 0.6 / sent.fps:
        told.append(f"{float(found.fps):g} frames a second for {found.seconds:.3f} s")
    if facts.tag and found.tag != facts.tag:
        told.append(f"tagged {found.tag}")
    if found.colour not in (None, _colour(facts)):
        told.append(f"colour {found.colour}")
    if found.psnr_db < (np.inf if facts.lossless else _LEAST_PSNR_DB):
        told.append(f"its pictures differ, {found.psnr_db:.1f} dB")
    if found.light_level != sent.light_level:
        told.append(f"light level {found.light_level}")
    length = float(sent.frames / sent.fps)
    if sent.sound != (found.sound_s is not None) or abs((found.sound_s or length) - length) > _SOUND_SLACK_S:
        told.append(f"{found.sound_s or 0:.2f} s of sound")
    return told


def _colour(facts: FormatFacts) -> tuple[int, int, int, int]:
    return facts.primaries, facts.transfer, facts.matrix, 2 if facts.full_range else 1


def _film(film: Path, sent: Sent) -> FilmCheck:
    with av.open(film) as container:
        stream = container.streams.video[0]
        times = sorted(packet.pts for packet in container.demux(stream) if packet.size and packet.pts is not None)
        base = Fraction(stream.time_base or 0)
        steps = {b - a for a, b in pairwise(times)} or {round(1 / sent.fps / base)}
        if max(steps) - min(steps) > (1 if ".mkv" in sent.form.facts.suffixes else 0) or min(steps) <= 0:
            raise ValueError("its frames are not evenly spaced")
        length = times[-1] - times[0] + round((times[-1] - times[0]) / (len(times) - 1) if len(times) > 1 else max(steps))
        container.seek(times[0], stream=stream)
        first = next(container.decode(stream))
        container.seek(times[-1], stream=stream)
        last = max(container.decode(stream), key=lambda frame: frame.pts or 0)
        context = stream.codec_context
        colour = int(first.color_primaries), int(first.color_trc), int(first.colorspace), int(first.color_range)
        return FilmCheck(
            frames=len(times),
            size=(context.width, context.height),
            fps=Fraction(stream.average_rate or 0),
            seconds=float(length * base),
            tag=context.codec_tag,
            colour=colour,
            psnr_db=min(psnr_of(planes_of(first), sent.first, sent.form), psnr_of(planes_of(last), sent.last, sent.form)),
            light_level=_light_level(first),
            sound_s=_sound_s(container),
        )


def _sound_s(container: av.container.InputContainer) -> float | None:
    """Return how long the sound is, seconds; None without."""
    for stream in container.streams.audio:
        if stream.duration is not None and stream.time_base is not None:
            return float(stream.duration * stream.time_base)
        return (container.duration or 0) / av.time_base
    return None


def _light_level(frame: av.VideoFrame) -> tuple[int, int] | None:
    carried: Any = frame.side_data
    stated = carried.get(SideData.CONTENT_LIGHT_LEVEL)
    if stated is None:
        return None
    most, mean = struct.unpack_from("=2I", bytes(stated))
    return most, mean


def _animation(film: Path, sent: Sent) -> FilmCheck:
    """Return what a loop holds. Frames alike may be one in it, shown longer; all alike make a still, which has no time."""
    with Image.open(film) as loop:
        milliseconds = 0.0
        first = last = np.empty(0)
        for number in range(getattr(loop, "n_frames", 1)):
            loop.seek(number)
            last = np.asarray(loop.convert("RGB"))
            first = last if number == 0 else first
            milliseconds += float(loop.info.get("duration", 0))
        if getattr(loop, "n_frames", 1) == 1:
            milliseconds = float(1000 * sent.frames / sent.fps)
        frames = round(milliseconds / 1000 * sent.fps)
        psnr = min(psnr_of([first], sent.first, sent.form), psnr_of([last], sent.last, sent.form))
        return FilmCheck(frames, loop.size, sent.fps, milliseconds / 1000, "", None, psnr)
