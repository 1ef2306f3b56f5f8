"""Gathers the stills of folders and file lists into frames in shooting order, and flags copies and odd sizes."""

from __future__ import annotations

import os
import re
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from hashlib import blake2b
from itertools import groupby, pairwise
from pathlib import Path

from lapsebench.core.progress import Tick, silent
from lapsebench.core.sequence import Fault, Frame
from lapsebench.errors import GatherError
from lapsebench.io.metadata import read_metadata
from lapsebench.io.read import PICTURE_SUFFIXES

_RAW = ".3fr .arw .cr2 .cr3 .crw .dng .erf .fff .gpr .iiq .kdc .mef .mos .mrw .nef .nrw .orf .pef .raf .raw .rw2 .srw .x3f"
RAW_SUFFIXES = frozenset(_RAW.split())
_KINDS = "JPEG, PNG or TIFF"
_WORKERS = 8
_SAMPLE = 65536
_SUBFOLDERS_NAMED = 5
_DIGITS = re.compile(r"([0-9]+)")
_START = datetime(1970, 1, 1, tzinfo=UTC)
_SHARE_OF_A_SHOT, _RUN_OF_A_SHOT = 0.1, 8

NaturalKey = tuple[tuple[bool, int, str], ...]


@dataclass(frozen=True, slots=True)
class Gathered:
    """Frames in shooting order, and what the user should know of how they were gathered."""

    frames: tuple[Frame, ...]
    notes: tuple[str, ...]


def natural_key(text: str) -> NaturalKey:
    """Return a sorting key that ignores case and takes numbers as numbers: IMG_2 before img_10."""
    parts = (part for part in _DIGITS.split(text.casefold()) if part)
    return tuple((True, int(part), part) if part[0] in "0123456789" else (False, 0, part) for part in parts)


def _counter(stem: str) -> tuple[str, str, str] | None:
    """Return what stands before the last number of a file name, that number, and what follows; None without one."""
    parts = _DIGITS.split(stem.casefold())
    return ("".join(parts[:-2]), parts[-2], parts[-1]) if len(parts) > 1 else None


def _roll_over(numbers: Iterable[int], width: int) -> tuple[int, int] | None:
    """Return (last number after the roll-over, numbers in a round) of a counter that went from 9999 to 0001, else None."""
    ordered = sorted(set(numbers))
    digits = len(str(ordered[-1]))
    round_ = 10**digits
    near = min(20, round_ // 50)
    if digits < 3 or (digits < 4 and digits != width) or ordered[0] > near or ordered[-1] < round_ - near:
        return None
    hole, cut = max((after - before, before) for before, after in pairwise(ordered))
    return (cut, round_) if hole >= round_ // 10 else None


def file_order(names: Sequence[str]) -> list[str]:
    """Return the file names of one folder in natural order, a counter that rolled over (9999, 0001) carried on."""
    counters = {name: counter for name in names if (counter := _counter(Path(name).stem))}
    series = defaultdict(list)
    for before, digits, after in counters.values():
        series[before, len(digits), after].append(int(digits))
    rolled = {key: found for key, numbers in series.items() if (found := _roll_over(numbers, key[1]))}

    def key(name: str) -> tuple[NaturalKey, NaturalKey, str]:
        stem, suffix = Path(name).stem, Path(name).suffix
        if name in counters:
            before, digits, after = counters[name]
            cut, round_ = rolled.get((before, len(digits), after), (-1, 0))
            if int(digits) <= cut:
                stem = f"{before}{int(digits) + round_}{after}"
        return natural_key(stem), natural_key(suffix), name

    return sorted(names, key=key)


def _is_picture(name: str) -> bool:
    return Path(name).suffix.lower() in PICTURE_SUFFIXES and not name.startswith(".")


def _shut(path: Path, error: OSError) -> GatherError:
    if isinstance(error, PermissionError):
        return GatherError(f"{path} may not be read: permission denied.", "Ask for the right to read it.")
    return GatherError(f"{path} can't be read: {error.strerror or error}.", "Is the drive still connected?")


def _listing(folder: Path) -> list[os.DirEntry[str]]:
    with os.scandir(folder) as entries:
        return list(entries)


def _subfolder_remedy(entries: list[os.DirEntry[str]]) -> str:
    """Return what to open instead of a folder without pictures."""
    held = []
    for entry in sorted(
        (e for e in entries if e.is_dir() and not e.name.startswith(".")), key=lambda e: natural_key(e.name)
    ):
        try:
            count = sum(_is_picture(inner.name) for inner in _listing(Path(entry.path)))
        except OSError:
            continue  # a subfolder that can't be looked into is no place to send the user to
        if count:
            held.append(f"{entry.name} ({count})")
    if not held:
        return f"Choose a folder with {_KINDS} stills."
    more = ", ..." if len(held) > _SUBFOLDERS_NAMED else ""
    return f"Its subfolders hold pictures, open one of them: {', '.join(held[:_SUBFOLDERS_NAMED])}{more}."


class _Intake:
    """Collects picture files, and what was left aside, from the given paths."""

    def __init__(self) -> None:
        self.folders: dict[Path, list[str]] = defaultdict(list)
        self.raw: list[str] = []
        self.others: list[str] = []
        self._empty: list[GatherError] = []

    def add(self, path: Path) -> None:
        """Take in a folder's pictures or one file; GatherError where there is neither."""
        try:
            self._add(path)
        except OSError as error:
            raise _shut(path, error) from error

    def _add(self, path: Path) -> None:
        if path.is_dir():
            self._add_folder(path)
        elif not path.exists():
            raise GatherError(f"{path} is not there.", "Check the name; is the drive or memory card connected?")
        elif path.suffix.lower() in PICTURE_SUFFIXES and path.is_file():
            self.folders[path.parent.resolve()].append(path.name)
        else:
            raise GatherError(f"{path.name} is no folder and no picture that can be read.", f"Choose {_KINDS} stills.")

    def _add_folder(self, folder: Path) -> None:
        entries = _listing(folder)
        files = [entry.name for entry in entries if not entry.is_dir()]
        pictures = [entry.name for entry in entries if _is_picture(entry.name) and entry.is_file()]
        self.folders[folder.resolve()] += pictures
        raw = [name for name in files if Path(name).suffix.lower() in RAW_SUFFIXES and not name.startswith(".")]
        self.raw += sorted(raw, key=natural_key)
        self.others += sorted(set(files) - set(pictures) - set(raw), key=natural_key)
        if not pictures:
            remedy = _subfolder_remedy(entries)
            if raw:
                remedy = f"It holds RAW files, which are not read yet: develop them to {_KINDS}. {remedy}"
            self._empty.append(GatherError(f"{folder} holds no pictures.", remedy))

    def paths(self) -> list[Path]:
        """Return every picture once, folder by folder, each in file order; GatherError where there is none."""
        if not any(self.folders.values()):
            raise (
                self._empty[0] if self._empty else GatherError("Nothing was chosen.", f"Choose a folder of {_KINDS} stills.")
            )
        folders = sorted(self.folders, key=lambda folder: natural_key(str(folder)))
        return [folder / name for folder in folders for name in file_order(sorted(set(self.folders[folder])))]

    def notes(self) -> list[str]:
        """Return what was left aside, in words."""
        aside = []
        if self.raw:
            aside.append(f"{_count(self.raw, 'RAW file')}, not read yet ({_examples(self.raw)})")
        if self.others:
            noun = "files that are no pictures" if len(self.others) > 1 else "file that is no picture"
            aside.append(f"{len(self.others)} {noun} ({_examples(self.others)})")
        empty = [error.what for error in self._empty]
        return ([f"Left aside: {'; '.join(aside)}."] if aside else []) + empty


def _count(things: Sequence[str], noun: str) -> str:
    return f"{len(things)} {noun}{'' if len(things) == 1 else 's'}"


def _examples(names: Sequence[str], most: int = 3) -> str:
    return ", ".join(names[:most]) + (", ..." if len(names) > most else "")


def _read_all(paths: Sequence[Path], tick: Tick) -> list[Frame]:
    """Read all headers on several threads; `tick` may raise Cancelled, which stops the rest."""
    with ThreadPoolExecutor(_WORKERS, thread_name_prefix="scan") as pool:
        futures = {pool.submit(read_metadata, path): i for i, path in enumerate(paths)}
        frames: list[Frame | None] = [None] * len(paths)
        try:
            for done, future in enumerate(as_completed(futures), start=1):
                frames[futures[future]] = future.result()
                tick(done, len(paths))
        finally:
            pool.shutdown(wait=False, cancel_futures=True)
    return [frame for frame in frames if frame is not None]


def _clock(frames: Sequence[Frame]) -> Callable[[Frame], float | None]:
    """Return a function frame -> seconds since 1970, or None where the time is unknown.

    A time without a zone counts in the zone most frames of its camera name, else in the zone most frames name, else UTC.
    """
    zones: dict[str | None, Counter[timedelta]] = defaultdict(Counter)
    for frame in frames:
        if frame.taken and (offset := frame.taken.utcoffset()) is not None:
            zones[frame.camera][offset] += 1
    overall = sum(zones.values(), Counter())

    def seconds(frame: Frame) -> float | None:
        if frame.taken is None:
            return None
        if frame.taken.tzinfo is not None:
            return (frame.taken - _START).total_seconds()
        offset = (zones.get(frame.camera) or overall or Counter([timedelta()])).most_common(1)[0][0]
        return (frame.taken.replace(tzinfo=UTC) - _START - offset).total_seconds()

    return seconds


def _series(frame: Frame) -> tuple[Path, str]:
    counter = _counter(frame.path.stem)
    return frame.path.parent, counter[0] if counter else ""


def _filled(times: list[float | None], groups: Iterable[object]) -> list[float | None]:
    """Return times with unknown ones taken from the frame before in the same run of groups, at its start from the next."""
    filled: list[float | None] = []
    for _, run in groupby(zip(groups, times, strict=True), key=lambda pair: pair[0]):
        block = [time for _, time in run]
        last = next((time for time in block if time is not None), None)
        for time in block:
            last = last if time is None else time
            filled.append(last)
    return filled


def _in_order(frames: list[Frame]) -> tuple[list[Frame], list[str]]:
    """Return frames (given in file order) in shooting order; one without a time stays beside its neighbour by name."""
    clock = _clock(frames)
    times = [clock(frame) for frame in frames]
    readable = [time for frame, time in zip(frames, times, strict=True) if frame.readable]
    if len(readable) > 1 and len(set(readable)) == 1:
        why = "No capture times" if readable[0] is None else "All capture times are the same"
        return frames, [f"{why}: frames are in the order of their file names."]
    filled = _filled(times, [_series(frame) for frame in frames])
    filled = _filled(filled, [frame.path.parent for frame in frames])
    keys = sorted((float("inf") if time is None else time, i) for i, time in enumerate(filled))
    timeless = readable.count(None)
    notes = [f"{timeless} of {len(frames)} frames without a capture time: placed by file name."] if timeless else []
    return [frames[i] for _, i in keys], notes if len(frames) > 1 else []


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
        if not frame.readable:
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


def _cameras(frames: Sequence[Frame]) -> Counter[str]:
    return Counter(frame.camera for frame in frames if frame.camera)


def _odd_sizes(frames: list[Frame]) -> dict[int, str]:
    """Return frame number -> words for frames unlike the usual size of their camera; a run of such frames is a shot."""
    cameras = _cameras(frames)
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


def _flagged(frames: list[Frame], check: Callable[[], None]) -> list[Frame]:
    copies, odd = _copies(frames, check), _odd_sizes(frames)
    for i, original in copies.items():
        frames[i] = _flag(frames[i], Fault.DUPLICATE, f"the same frame as {frames[original].path.name}")
    for i, words in odd.items():
        frames[i] = _flag(frames[i], Fault.ODD_SIZE, words)
    return frames


def gather(paths: Sequence[Path], *, tick: Tick = silent) -> Gathered:
    """Return the frames of folders (not their subfolders) and files, in shooting order, with notes for the user.

    Order: capture time with its fraction of a second, then file name (numbers as numbers, counters carried on over 9999).
    Unreadable files, copies and odd sizes stay in, flagged. `tick` is called for each file read and may raise Cancelled.
    Raises GatherError where a path is missing, not allowed or no picture, or where there is no picture at all.
    """
    intake = _Intake()
    for path in paths:
        intake.add(path)
    files = intake.paths()
    frames, order_notes = _in_order(_read_all(files, tick))
    frames = _flagged(frames, lambda: tick(len(files), len(files)))
    notes = intake.notes() + order_notes
    cameras = _cameras(frames)
    if len(cameras) > 1:
        notes.append(f"Frames of {len(cameras)} cameras: {', '.join(f'{c} ({n})' for c, n in cameras.most_common())}.")
    if len(frames) == 1:
        notes.append("Only one frame: a film needs more.")
    return Gathered(tuple(frames), tuple(notes))
