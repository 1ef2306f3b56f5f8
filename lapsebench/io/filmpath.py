"""Where a film may be written, and how a file gets its name only when it is whole."""

from __future__ import annotations

import os
import secrets
import shutil
import time
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from lapsebench.core.formatfacts import FilmKind
from lapsebench.core.formats import FilmFormat
from lapsebench.errors import DiskFullError, OutputError

FRAMES_RECORD, PARTIAL_FRAME = "lapsebench-frames.json", ".frame.part-"
"""Names in a folder of frames: what film they are of, and how a frame that is being written begins."""
_FILE_SUFFIXES = {".mp4", ".mov", ".mkv", ".gif", ".webp", ".tif", ".tiff", ".exr"}
_STALE_S = 3600.0  # an unfinished film that nobody wrote to for this long was left by a program that was killed


def film_path(
    output: Path, *, form: FilmFormat = FilmFormat.H264, overwrite: bool = False, sources: Iterable[Path] = ()
) -> Path:
    """Return the absolute path of the film, or of the folder of frames; OutputError where it won't do.

    A film's name gets the format's own suffix where it has none. A folder of frames may be there already if it is empty or
    holds nothing but such frames.
    """
    try:
        if form.facts.kind is FilmKind.FRAMES:
            return _checked_folder(output, form, sources=sources)
        return _checked(output, form.facts.suffixes, overwrite=overwrite, sources=sources)
    except OSError as error:
        reason = error.strerror or str(error)
        raise OutputError(f"{output.name[:60]} can't be written: {reason}.", "Choose another name or folder.") from error


def _checked(output: Path, suffixes: tuple[str, ...], *, overwrite: bool, sources: Iterable[Path]) -> Path:
    _refuse_folder(output, suffixes)
    path = output if output.suffix else output.with_name(output.name + suffixes[0])
    path = path.absolute()
    if path.suffix.lower() not in suffixes:
        raise OutputError(
            f"{path.name} is not a film of this format: {path.suffix} can't be written.",
            f"End the name in {' or '.join(suffixes)}, or choose another format.",
        )
    _refuse_missing(path.parent)
    _refuse_folder(path, suffixes)
    if path.exists():
        if any(_same_file(path, source) for source in sources):
            raise OutputError(
                f"{path.name} is one of your source frames.", "Choose another name; sources are never written."
            )
        _refuse_existing(path, overwrite)
    return path


def _checked_folder(output: Path, form: FilmFormat, *, sources: Iterable[Path]) -> Path:
    path, suffix = output.absolute(), form.facts.frame_suffix
    if path.suffix.lower() in _FILE_SUFFIXES:
        raise OutputError(f"{path.name} names a file; {form.facts.codec} is a folder of frames.", "Leave the suffix out.")
    _refuse_missing(path.parent)
    if path.exists() and not path.is_dir():
        raise OutputError(f"{path} is a file.", "Choose another name for the folder of frames.")
    if path.is_dir() and any(not _is_ours(entry, path.name, suffix) for entry in path.iterdir()):
        raise OutputError(f"The folder {path} holds other files.", "Name a folder that is not there yet.")
    if any(_same_file(path, source.parent) for source in sources):
        raise OutputError(f"{path.name} is the folder of your source frames.", "Choose another; sources are never written.")
    return path


def _is_ours(entry: Path, name: str, suffix: str) -> bool:
    numbered = entry.name.startswith(f"{name}_") and entry.suffix == suffix and entry.stem[len(name) + 1 :].isdecimal()
    return numbered or entry.name == FRAMES_RECORD or entry.name.startswith(PARTIAL_FRAME)


def _refuse_missing(folder: Path) -> None:
    if not folder.is_dir():
        raise OutputError(f"The folder {folder} does not exist.", "Make it, or choose another folder.")


def fits(output: Path, estimate: int) -> None:
    """Raise DiskFullError where the disk of `output` has fewer than `estimate` bytes free."""
    try:
        free = shutil.disk_usage(output.absolute().parent).free
    except OSError:
        return  # some network folders don't say
    if free < estimate:
        raise DiskFullError(
            f"The disk has {_amount(free)} free; the film needs at least {_amount(estimate)}.",
            "Free some space or choose another folder.",
        )


def partial_path(path: Path) -> Path:
    """Make and return an empty hidden file beside `path` to write to; OutputError where the folder can't be written."""
    stem = f".{path.stem[:40]}.partial-"
    partial = path.with_name(f"{stem}{os.getpid()}-{secrets.token_hex(3)}{path.suffix}")
    _sweep(path.parent, stem)
    try:
        partial.touch(exist_ok=False)
    except OSError as error:
        reason = error.strerror or str(error)
        raise OutputError(f"{path.parent} can't be written to: {reason}.", "Choose another folder.") from error
    return partial


def put_in_place(partial: Path, path: Path, *, overwrite: bool) -> None:
    """Give `partial` the name `path` in one step; OutputError where a file came to be there meanwhile or can't be moved."""
    _refuse_existing(path, overwrite)
    try:
        partial.replace(path)
    except OSError as error:
        reason = error.strerror or str(error)
        raise OutputError(f"{path} can't be written: {reason}.", "Close programs that have it open.") from error


def _refuse_folder(path: Path, suffixes: tuple[str, ...]) -> None:
    if path.is_dir():
        raise OutputError(f"{path.absolute()} is a folder.", f"Name a film in it, ending in {' or '.join(suffixes)}.")


def _refuse_existing(path: Path, overwrite: bool) -> None:
    if path.exists() and not overwrite:
        raise OutputError(f"{path} exists already.", "Choose another name, or allow it to be replaced.")


def _same_file(one: Path, other: Path) -> bool:
    try:
        return one.samefile(other)
    except OSError:
        return False


def _sweep(folder: Path, stem: str) -> None:
    with suppress(OSError):
        for left in folder.iterdir():
            if left.name.startswith(stem) and time.time() - left.stat().st_mtime > _STALE_S:
                left.unlink()


def _amount(count: int) -> str:
    return f"{count / 1e9:.1f} GB" if count >= 1e9 else f"{count / 1e6:.1f} MB"
