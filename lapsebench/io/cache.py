"""Keeps what was measured in a still, so that a night opened again is there at once; never worth an error."""

from __future__ import annotations

import logging
import os
import tempfile
import time
import zipfile
import zlib
from hashlib import blake2b
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from platformdirs import user_cache_path

from lapsebench.core.metering import FrameMeasure

FORMAT_VERSION = 2
"""Counted up whenever a measure comes to mean something else: older entries are then measured again."""

DEFAULT_LIMIT = 4_000_000_000
"""Bytes of all entries that `prune` leaves."""

_LOG = logging.getLogger(__name__)
_DAMAGED = (OSError, EOFError, ValueError, TypeError, LookupError, zipfile.BadZipFile, zlib.error, NotImplementedError)
_PART = ".new-"
_ABANDONED_S = 3600.0


def default_folder() -> Path:
    """Return where measures are kept: under the environment's LAPSEBENCH_CACHE if set, else the user's cache folder."""
    root = os.environ.get("LAPSEBENCH_CACHE")
    return (Path(root) if root else user_cache_path("lapsebench", appauthor=False)) / "measures"


def _load(entry: Path) -> FrameMeasure:
    """Return a stored measure; ValueError and the like where it isn't whole."""
    with entry.open("rb") as file, np.load(file, allow_pickle=False) as store:
        tiles, clipped, column, proxy = (store[name] for name in ("tiles", "clipped", "column", "proxy"))
    sound = tiles.ndim == 3 and tiles.shape[2] == 3 and clipped.shape == tiles.shape and column.ndim == 2
    kinds = [array.dtype.str for array in (tiles, clipped, column, proxy)]
    if not sound or kinds != ["<f4", "<f4", "|u1", "|u1"]:
        raise ValueError("not a measure")
    return FrameMeasure(tiles, clipped, column, proxy.tobytes())


class MeasureStore:
    """Measures on disk, one file a still, found by path, size and time of change; safe to use from several threads.

    A store that can't be written (full disk, no permission) turns itself off and goes on as if empty.
    """

    def __init__(self, folder: Path | None = None, *, limit: int = DEFAULT_LIMIT) -> None:
        self.folder = folder or default_folder()
        self._limit = limit
        self._writes = True

    def stamp(self, path: Path) -> str | None:
        """Return what tells a still as it is now from any other; None where it is gone."""
        try:
            stat = path.stat()
        except OSError:
            return None
        return f"{FORMAT_VERSION}\0{path.resolve()}\0{stat.st_size}\0{stat.st_mtime_ns}"

    def _entry(self, path: Path, look: object) -> Path | None:
        """Return the entry's file for a still as it is now; None where the still is gone."""
        key = self.stamp(path)
        if key is None:
            return None
        key = key if look is None else f"{key}\0{look!r}"
        return self._place(blake2b(key.encode("utf-8", "surrogateescape"), digest_size=20).hexdigest())

    def _place(self, name: str) -> Path:
        return self.folder / name[:2] / f"{name}.npz"

    def get(self, path: Path, look: object = None) -> FrameMeasure | None:
        """Return the measure of a still developed as `look` says; None where it is missing, damaged or of an older still."""
        entry = self._entry(path, look)
        if entry is None or not entry.exists():
            return None
        try:
            measure = _load(entry)
        except _DAMAGED:
            self._remove(entry)
            return None
        self._touch(entry)
        return measure

    def has(self, path: Path, look: object = None) -> bool:
        """Whether there is a measure of a still developed as `look` says."""
        entry = self._entry(path, look)
        return entry is not None and entry.exists()

    def put(self, path: Path, measure: FrameMeasure, look: object = None) -> None:
        """Keep the measure of a still, whole or not at all."""
        entry = self._entry(path, look)
        if entry is not None:
            proxy = np.frombuffer(measure.proxy, np.uint8)
            self._keep(entry, tiles=measure.tiles, clipped=measure.clipped, column=measure.column, proxy=proxy)

    def arrays(self, name: str, wanted: tuple[str, ...]) -> tuple[NDArray[Any], ...] | None:
        """Return the `wanted` arrays kept under a name (hexadecimal); None where there are none or they are damaged."""
        entry = self._place(name)
        if not entry.exists():
            return None
        try:
            with entry.open("rb") as file, np.load(file, allow_pickle=False) as store:
                arrays = tuple(store[each] for each in wanted)
        except _DAMAGED:
            self._remove(entry)
            return None
        self._touch(entry)
        return arrays

    def keep_arrays(self, name: str, **arrays: NDArray[Any]) -> None:
        """Keep arrays under a name (hexadecimal), whole or not at all."""
        self._keep(self._place(name), **arrays)

    def _keep(self, entry: Path, **arrays: NDArray[Any]) -> None:
        if not self._writes:
            return
        try:
            entry.parent.mkdir(parents=True, exist_ok=True)
            self._write(entry, arrays)
        except OSError as error:
            self._turn_off(error)

    def prune(self) -> None:
        """Remove the entries longest unused until the rest fits the limit, and what a crash left half written."""
        found = []
        for file in self.folder.glob("*/*"):
            try:
                stat = file.stat()
            except OSError:
                continue  # another window pruned it meanwhile
            if not file.name.startswith(_PART):
                found.append((stat.st_mtime, stat.st_size, file))
            elif stat.st_mtime < time.time() - _ABANDONED_S:
                self._remove(file)
        total = 0
        for _, size, file in sorted(found, reverse=True):
            total += size
            if total > self._limit:
                self._remove(file)

    def _write(self, entry: Path, arrays: dict[str, NDArray[Any]]) -> None:
        handle, name = tempfile.mkstemp(dir=entry.parent, prefix=_PART)
        try:
            with os.fdopen(handle, "wb") as file:
                np.savez(file, allow_pickle=False, **arrays)
            Path(name).replace(entry)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise

    def _turn_off(self, error: OSError) -> None:
        if self._writes:
            _LOG.warning("Measures can't be kept in %s: %s", self.folder, error.strerror or error)
        self._writes = False

    def _touch(self, entry: Path) -> None:
        try:
            os.utime(entry)  # prune goes by the time of last use
        except OSError as error:
            _LOG.debug("%s keeps its old time of use: %s", entry, error)

    def _remove(self, entry: Path) -> None:
        try:
            entry.unlink(missing_ok=True)
        except OSError as error:
            self._turn_off(error)
