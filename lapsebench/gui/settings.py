"""What the program remembers between starts, read back with its type."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import QByteArray, QSettings, QStandardPaths

from lapsebench.io.projectfile import SUFFIX

_RECENT = 8


class Settings:
    """Typed access to the stored settings; a stored False comes back as False, not as a word."""

    def __init__(self) -> None:
        self._store = QSettings(QSettings.Format.IniFormat, QSettings.Scope.UserScope, "lapsebench", "lapsebench")

    def text(self, key: str, default: str = "") -> str:
        """Return the stored text."""
        return str(self._store.value(key, default, type=str))

    def flag(self, key: str, default: bool) -> bool:
        """Return the stored yes or no."""
        return bool(self._store.value(key, default, type=bool))

    def state(self, key: str) -> QByteArray:
        """Return a stored window, header or splitter state; empty where there is none."""
        value = self._store.value(key, QByteArray(), type=QByteArray)
        return value if isinstance(value, QByteArray) else QByteArray()

    def put(self, key: str, value: str | bool | QByteArray) -> None:
        """Store a value."""
        self._store.setValue(key, value)

    def recent(self) -> list[Path]:
        """Return the last folders and projects opened that are still there, newest first."""
        stored = self._store.value("open/recent", [], type=list)
        texts = stored if isinstance(stored, list) else []
        return [path for path in map(Path, map(str, texts)) if path.exists()]

    def remember(self, path: Path) -> None:
        """Put a folder or project at the head of the recent ones."""
        others = [known for known in self.recent() if known != path]
        self._store.setValue("open/recent", [str(p) for p in [path, *others][:_RECENT]])

    def forget_recent(self) -> None:
        """Empty the list of recent folders."""
        self._store.remove("open/recent")

    def folder_to_open(self) -> Path:
        """Return the folder an open dialog starts in."""
        return next((path.parent for path in self.recent()), _standard(QStandardPaths.StandardLocation.PicturesLocation))

    def folder_for_films(self) -> Path:
        """Return the folder films were last put in, else the user's films, else home."""
        stored = Path(self.text("film/folder") or "/nowhere")
        return stored if stored.is_dir() else _standard(QStandardPaths.StandardLocation.MoviesLocation)

    def save(self) -> None:
        """Write everything to disk now."""
        self._store.sync()


def _standard(location: QStandardPaths.StandardLocation) -> Path:
    path = Path(QStandardPaths.writableLocation(location) or Path.home())
    return path if path.is_dir() else Path.home()


def common_source(paths: Sequence[Path]) -> Path | None:
    """Return the folder or project that stands for `paths` in the list of recent ones."""
    if not paths:
        return None
    return paths[0] if paths[0].is_dir() or paths[0].suffix == SUFFIX else paths[0].parent
