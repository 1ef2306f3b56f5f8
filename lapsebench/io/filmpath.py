"""Where a film may be written, and how a file gets its name only when it is whole."""

from __future__ import annotations

import os
import secrets
import shutil
import time
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from lapsebench.errors import DiskFullError, OutputError

_SUFFIXES = (".mp4", ".mov")
_STALE_S = 3600.0  # an unfinished film that nobody wrote to for this long was left by a program that was killed


def film_path(output: Path, *, overwrite: bool = False, sources: Iterable[Path] = ()) -> Path:
    """Return the absolute path of the film, with .mp4 added where `output` has no suffix; OutputError where it won't do."""
    try:
        return _checked(output, overwrite=overwrite, sources=sources)
    except OSError as error:
        reason = error.strerror or str(error)
        raise OutputError(f"{output.name[:60]} can't be written: {reason}.", "Choose another name or folder.") from error


def _checked(output: Path, *, overwrite: bool, sources: Iterable[Path]) -> Path:
    _refuse_folder(output)
    path = output if output.suffix else output.with_name(output.name + ".mp4")
    path = path.absolute()
    if path.suffix.lower() not in _SUFFIXES:
        raise OutputError(f"{path.name} is not a film: {path.suffix} can't be written.", "End the name in .mp4 or .mov.")
    if not path.parent.is_dir():
        raise OutputError(f"The folder {path.parent} does not exist.", "Make it, or choose another folder.")
    _refuse_folder(path)
    if path.exists():
        if any(_same_file(path, source) for source in sources):
            raise OutputError(
                f"{path.name} is one of your source frames.", "Choose another name; sources are never written."
            )
        _refuse_existing(path, overwrite)
    return path


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


def _refuse_folder(path: Path) -> None:
    if path.is_dir():
        raise OutputError(f"{path.absolute()} is a folder.", "Name a film in it, ending in .mp4 or .mov.")


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
