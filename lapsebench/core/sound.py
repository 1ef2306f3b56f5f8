"""Music under a film: which part of a file, how it fades, and how loud it shall be."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from math import isfinite
from pathlib import Path


class Loudness(IntEnum):
    """How loud the music is made, LUFS (Rec. ITU-R BS.1770); OFF leaves it as it is.

    -14 is usual on the net (common practice, no source); -23 is that of broadcasting, EBU R 128.
    """

    OFF = 0
    NET = -14
    BROADCAST = -23


@dataclass(frozen=True, slots=True)
class Sound:
    """A sound file at `path`, from `start_s` on, for as long as the film; fades in seconds; ValueError out of range."""

    path: Path
    start_s: float = 0.0
    fade_in_s: float = 0.5
    fade_out_s: float = 3.0
    loudness: Loudness = Loudness.NET

    def __post_init__(self) -> None:
        numbers = (self.start_s, self.fade_in_s, self.fade_out_s)
        if not all(isfinite(number) and 0 <= number <= 86_400 for number in numbers):
            raise ValueError("a time of the sound is out of its range")
