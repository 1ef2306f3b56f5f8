"""Gathers the stills of folders and file lists into frames in shooting order, and says what was left aside."""

from __future__ import annotations

import os
from collections import defaultdict
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path

from lapsebench.core.progress import Tick, silent
from lapsebench.core.sequence import Frame
from lapsebench.errors import GatherError
from lapsebench.io.clip import clip_frames
from lapsebench.io.clockchange import steady_clock
from lapsebench.io.copies import cameras_of, flagged
from lapsebench.io.kinds import KINDS, is_clip, is_picture
from lapsebench.io.metadata import read_metadata
from lapsebench.io.order import file_order, natural_key, shooting_order
from lapsebench.io.pairs import pair_notes, partners

_WORKERS = 8
_SUBFOLDERS_NAMED = 5


@dataclass(frozen=True, slots=True)
class Gathered:
    """Frames in shooting order, and what the user should know of how they were gathered."""

    frames: tuple[Frame, ...]
    notes: tuple[str, ...]


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
            count = sum(is_picture(inner.name) for inner in _listing(Path(entry.path)))
        except OSError:
            continue  # a subfolder that can't be looked into is no place to send the user to
        if count:
            held.append(f"{entry.name} ({count})")
    if not held:
        return f"Choose a folder with {KINDS} stills."
    more = ", ..." if len(held) > _SUBFOLDERS_NAMED else ""
    return f"Its subfolders hold pictures, open one of them: {', '.join(held[:_SUBFOLDERS_NAMED])}{more}."


class _Intake:
    """Collects picture files, and what was left aside, from the given paths."""

    def __init__(self) -> None:
        self.folders: dict[Path, list[str]] = defaultdict(list)
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
        elif (is_picture(path.name.lstrip(".")) or is_clip(path.name)) and path.is_file():
            self.folders[path.parent.resolve()].append(path.name)
        else:
            raise GatherError(f"{path.name} is no folder and no picture that can be read.", f"Choose {KINDS} stills.")

    def _add_folder(self, folder: Path) -> None:
        entries = _listing(folder)
        files = [entry.name for entry in entries if not entry.is_dir()]
        pictures = [entry.name for entry in entries if is_picture(entry.name) and entry.is_file()]
        if not pictures:  # beside stills a video is a film made of them
            pictures = [entry.name for entry in entries if is_clip(entry.name) and entry.is_file()]
        self.folders[folder.resolve()] += pictures
        self.others += sorted(set(files) - set(pictures), key=natural_key)
        if not pictures:
            self._empty.append(GatherError(f"{folder} holds no pictures.", _subfolder_remedy(entries)))

    def paths(self) -> list[Path]:
        """Return every picture once, folder by folder, each in file order; GatherError where there is none."""
        if not any(self.folders.values()):
            raise (
                self._empty[0] if self._empty else GatherError("Nothing was chosen.", f"Choose a folder of {KINDS} stills.")
            )
        folders = sorted(self.folders, key=lambda folder: natural_key(str(folder)))
        return [folder / name for folder in folders for name in file_order(sorted(set(self.folders[folder])))]

    def notes(self) -> list[str]:
        """Return what was left aside, in words."""
        noun = "files that are no pictures" if len(self.others) > 1 else "file that is no picture"
        aside = [f"Left aside: {len(self.others)} {noun} ({_examples(self.others)})."] if self.others else []
        return aside + [error.what for error in self._empty]


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


def _without_partners(files: Sequence[Path], tick: Tick) -> tuple[list[Frame], list[str]]:
    """Return one frame for each file, but one for each pair, in file order; and notes on the pairs."""
    pairs = partners(files)
    frames = _read_all([path for path in files if path not in pairs], tick)
    others = {raw: finished for finished, raw in reversed(pairs.items())}
    unread = [frame.path for frame in frames if not frame.readable and frame.path in others]
    in_place = _read_all([others[raw] for raw in unread], lambda *_: tick(len(frames), len(frames)))
    stand_ins = {raw: frame for raw, frame in zip(unread, in_place, strict=True) if frame.readable}
    return [stand_ins.get(frame.path, frame) for frame in frames], pair_notes(pairs, stand_ins)


def gather(paths: Sequence[Path], *, tick: Tick = silent) -> Gathered:
    """Return the frames of folders (not their subfolders) and files, in shooting order, with notes for the user.

    Of a folder without stills the videos are taken, frame by frame.

    Order: capture time with its fraction of a second, then file name (numbers as numbers, counters carried on over 9999).
    Of a still kept as RAW and as JPEG or HEIC the RAW file is taken. Unreadable files, copies and odd sizes are flagged.
    `tick` is called for each file read and may raise Cancelled.
    Raises GatherError where a path is missing, not allowed or no picture, or where there is no picture at all.
    """
    intake = _Intake()
    for path in paths:
        intake.add(path)
    files = intake.paths()
    frames, paired = _without_partners([path for path in files if not is_clip(path.name)], tick)
    for path in files:
        if is_clip(path.name):
            tick(len(frames), len(files))
            frames += clip_frames(path)
    frames, clock_notes = steady_clock(frames)
    frames, order_notes = shooting_order(frames)
    frames = flagged(frames, lambda: tick(len(frames), len(frames)))
    notes = intake.notes() + paired + clock_notes + order_notes
    cameras = cameras_of(frames)
    if len(cameras) > 1:
        notes.append(f"Frames of {len(cameras)} cameras: {', '.join(f'{c} ({n})' for c, n in cameras.most_common())}.")
    if len(frames) == 1:
        notes.append("Only one frame: there is nothing to even out.")
    return Gathered(tuple(frames), tuple(notes))
