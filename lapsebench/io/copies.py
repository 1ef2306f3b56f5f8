"""Frames that do not belong: copies of another frame, and sizes unlike the rest of their camera."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from dataclasses import replace
from hashlib import blake2b
from itertools import groupby
from pathlib import Path

from lapsebench.core.sequence import Fault, Frame

_SAMPLE = 65536
_SHARE_OF_A_SHOT, _RUN_OF_A_SHOT = 0.1, 8


def _flag(frame: Frame, fault: Fault, problem: str) -> Frame:
    return replace(frame, faults=frame.faults | {fault}, problem="; ".join(filter(None, (frame.problem, problem))))


def _sample(path: Path, size: int) -> bytes:
    """Return a digest of four places in a file; empty where it can't be read."""
    digest = blake2b(digest_size=16)
    try:
        with path.open("rb") as file:
            for third in range(4):
                file.seek(max(size - _SAMPLE, 0) * third // 3)
                digest.update(file.read(_SAMPLE))
    except OSError:
        return b""
    return digest.digest()


def _same_bytes(one: Path, other: Path) -> bool:
    try:
        with one.open("rb") as a, other.open("rb") as b:
            while block := a.read(1 << 20):
                if b.read(1 << 20) != block:
                    return False
            return not b.read(1)
    except OSError:
        return False


def _exact_keys(frame: Frame) -> list[tuple[object, ...]]:
    """Return what two files of one exposure share even when their bytes differ.

    The time tells only with its fraction of a second, or with the same file name in another format.
    """
    if frame.taken is None:
        return []
    facts = (frame.taken, frame.setting, frame.width, frame.height)
    keys: list[tuple[object, ...]] = [("format", frame.path.parent, frame.path.stem.casefold(), frame.camera, *facts)]
    if frame.serial and frame.taken.microsecond:
        keys.append(("moment", frame.camera, frame.serial, *facts))
    return keys


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return -1


def _copies(frames: list[Frame], check: Callable[[], None]) -> dict[int, int]:
    """Return copy -> original (frame numbers) of readable frames; bytes are compared only where all else is alike."""
    alike: dict[tuple[object, ...], list[int]] = defaultdict(list)
    originals: dict[tuple[object, ...], int] = {}
    copies: dict[int, int] = {}
    for i, frame in enumerate(frames):
        if not frame.readable or frame.part is not None:
            continue
        keys = _exact_keys(frame)
        found = next((originals[key] for key in keys if key in originals), None)
        if found is not None:
            copies[i] = found
            continue
        originals.update(dict.fromkeys(keys, i))
        alike[_size(frame.path), frame.taken, frame.setting, frame.width, frame.height].append(i)
    for (size, *_), group in alike.items():
        if len(group) > 1 and isinstance(size, int) and size > 0:
            copies.update(_byte_copies(frames, group, size, check))
    return copies


def _byte_copies(frames: list[Frame], group: list[int], size: int, check: Callable[[], None]) -> dict[int, int]:
    firsts: dict[bytes, int] = {}
    copies = {}
    for i in group:
        check()
        first = firsts.setdefault(_sample(frames[i].path, size), i)
        if first != i and _same_bytes(frames[first].path, frames[i].path):
            copies[i] = first
    return copies


def cameras_of(frames: Sequence[Frame]) -> Counter[str]:
    """Return how many frames each known camera took."""
    return Counter(frame.camera for frame in frames if frame.camera)


def _odd_sizes(frames: list[Frame]) -> dict[int, str]:
    """Return frame number -> words for frames unlike the usual size of their camera; a run of such frames is a shot."""
    cameras = cameras_of(frames)
    usual_camera = cameras.most_common(1)[0][0] if cameras else None
    by_camera: dict[str | None, list[int]] = defaultdict(list)
    for i, frame in enumerate(frames):
        if frame.readable:
            by_camera[frame.camera or usual_camera].append(i)
    odd: dict[int, str] = {}
    for numbers in by_camera.values():
        sizes = [(frames[i].width, frames[i].height) for i in numbers]
        counts = Counter(sizes)
        usual = counts.most_common(1)[0][0]
        runs = {size: max(len(list(run)) for own, run in groupby(sizes) if own == size) for size in counts}
        shots = {s for s in counts if counts[s] >= _SHARE_OF_A_SHOT * len(sizes) and runs[s] >= _RUN_OF_A_SHOT}
        words = "{} x {} pixels, the others {} x {}"
        odd |= {i: words.format(*s, *usual) for i, s in zip(numbers, sizes, strict=True) if s not in shots | {usual}}
    return odd


def flagged(frames: list[Frame], check: Callable[[], None]) -> list[Frame]:
    """Flag, in place, the copies and odd sizes among the frames, and return them; `check` may raise Cancelled."""
    copies, odd = _copies(frames, check), _odd_sizes(frames)
    for i, original in copies.items():
        frames[i] = _flag(frames[i], Fault.DUPLICATE, f"the same frame as {frames[original].path.name}")
    for i, words in odd.items():
        frames[i] = _flag(frames[i], Fault.ODD_SIZE, words)
    return frames
