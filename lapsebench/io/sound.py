"""Makes the sound of a film ready: the wanted part of a file, faded, and brought to a loudness, as one WAV.

Loudness is measured first and then set (Rec. ITU-R BS.1770, by the encoder program's loudnorm), by one gain for all
where the peaks allow it: they are kept under -1.5 dB true peak.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from math import isfinite
from pathlib import Path
from typing import Any

import av

from lapsebench.core.sound import Loudness, Sound
from lapsebench.errors import SoundError
from lapsebench.io.program import ran

_PEAK_DB, _RANGE_LU = -1.5, 50  # the widest range loudnorm knows, so that it need not squeeze the music
_LEAST_S = 0.1


def check_sound(sound: Sound) -> float:
    """Return how many seconds of the sound there are; SoundError where its file is gone, holds none, or ends too early."""
    left = _length_s(sound.path) - sound.start_s
    if left < _LEAST_S:
        raise SoundError(f"“{sound.path.name}” ends before second {sound.start_s:g}.", "Start earlier in it.")
    return left


@contextmanager
def prepared(sound: Sound | None, seconds: float) -> Iterator[Path | None]:
    """Give a WAV file of `seconds` of the sound, 48 kHz stereo, for as long as the context lasts; None for none.

    Where the file ends before the film does, it fades out there and silence follows. Raises SoundError.
    """
    if sound is None:
        yield None
        return
    with tempfile.TemporaryDirectory(prefix="lapsebench-") as folder:
        wav = Path(folder) / "sound.wav"
        _make(sound, seconds, wav)
        yield wav


def _make(sound: Sound, seconds: float, wav: Path) -> None:
    heard = min(seconds, check_sound(sound))
    fade_in, fade_out = min(sound.fade_in_s, heard / 2), min(sound.fade_out_s, heard / 2)
    steps = ["aformat=sample_rates=48000:channel_layouts=stereo"]
    steps += [f"afade=t=in:d={fade_in:.4f}"] if fade_in else []
    steps += [f"afade=t=out:st={heard - fade_out:.4f}:d={fade_out:.4f}"] if fade_out else []
    source = ["-ss", f"{sound.start_s:.6f}", "-t", f"{heard:.6f}", "-i", str(sound.path.absolute()), "-map", "0:a:0", "-vn"]
    steps += _loudness(source, steps, sound.loudness)
    steps += ["aresample=48000", f"apad=whole_dur={seconds:.6f}", f"atrim=end={seconds:.6f}"]
    ended = ran(["-loglevel", "error", *source, "-af", ",".join(steps), "-c:a", "pcm_s24le", str(wav)])
    if ended.returncode != 0:
        raise SoundError(f"“{sound.path.name}” can't be read as sound.", "Choose another file.")


def _loudness(source: list[str], steps: list[str], loudness: Loudness) -> list[str]:
    """Return the step that brings the sound to its loudness, from a first pass that measures it; none for silence."""
    if loudness is Loudness.OFF:
        return []
    target = f"loudnorm=I={int(loudness)}:TP={_PEAK_DB}:LRA={_RANGE_LU}"
    said = ran([*source, "-af", ",".join([*steps, f"{target}:print_format=json"]), "-f", "null", "-"]).stderr
    text = said.decode(errors="replace")
    try:
        found: dict[str, Any] = json.loads(text[text.rindex("{") : text.rindex("}") + 1])
        measured = {name: float(found[f"input_{name}"]) for name in ("i", "tp", "lra", "thresh")}
    except (ValueError, KeyError):
        return []  # not readable as sound: the second pass will say it
    if not all(isfinite(value) for value in measured.values()):
        return []
    known = ":".join(f"measured_{name.upper() if name != 'thresh' else name}={value}" for name, value in measured.items())
    return [f"{target}:{known}:offset={found['target_offset']}:linear=true"]


def _length_s(path: Path) -> float:
    try:
        with av.open(path) as container:
            if not container.streams.audio:
                raise SoundError(f"“{path.name}” holds no sound.", "Choose another file.")
            return float((container.duration or 0) / av.time_base)
    except (av.FFmpegError, OSError, ValueError) as error:
        there = path.is_file()
        what = f"“{path.name}” can't be read as sound." if there else f"The sound file {path} is not there."
        raise SoundError(what, "Choose another file.") from error
