"""The films that wait to be made, kept in the user's state folder: the project as it was then, and what to make of it.

Every film has a folder of its own. It is in the line once its record is there, which is written last and removed first.
"""

from __future__ import annotations

import json
import re
import secrets
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from lapsebench.core.formats import FilmFormat
from lapsebench.core.project import Project
from lapsebench.errors import DiskFullError, LapsebenchError, OutputError, ProjectFileError
from lapsebench.io.atomic import write_json
from lapsebench.io.claims import claimed, is_claimed
from lapsebench.io.projectfile import SUFFIX, load_project, save_project
from lapsebench.io.unfinished import notes_folder

FORMAT, VERSION = "lapsebench.waiting-film", 1
_RECORD, _PROJECT, _ORDER = "film.json", f"film{SUFFIX}", "order.json"
_KEY = re.compile("film-[0-9a-f]{16}")
_STALE_S = 3600.0  # a film without a record for this long is not being added any more
_DAMAGED = "A waiting film was damaged and is taken out of the line."


@dataclass(frozen=True, slots=True)
class Entry:
    """A waiting film: its `key`, the path it gets, and whether it may replace what is there.

    `frames` and `size`, in pixels, are what it comes to. `reason`: why it could not be made, with what to do; empty while it
    waits.
    """

    key: str
    output: Path
    overwrite: bool
    title: str
    added: datetime
    form: FilmFormat
    frames: int
    size: tuple[int, int]
    reason: str = ""

    @property
    def failed(self) -> bool:
        """Whether it was tried and could not be made."""
        return bool(self.reason)


def queue_folder() -> Path:
    """Return where the waiting films are: beside the notes on unfinished ones."""
    return notes_folder().with_name("queue")


def add(project: Project, output: Path, *, overwrite: bool, title: str, frames: int, size: tuple[int, int]) -> Entry:
    """Put a film at the end of the line, with the project as it is now. Raises OutputError or DiskFullError."""
    entry = Entry(
        f"film-{secrets.token_hex(8)}",
        output.absolute(),
        overwrite,
        title,
        datetime.now(UTC),
        project.film.format,
        frames,
        size,
    )
    folder = queue_folder() / entry.key
    try:
        folder.mkdir(parents=True)
        save_project(project, folder / _PROJECT)
        keep(entry)
    except DiskFullError:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    except (OSError, OutputError) as error:
        shutil.rmtree(folder, ignore_errors=True)
        raise OutputError(f"No film can wait: {folder.parent} can't be written to.", "Make the film at once.") from error
    with suppress(LapsebenchError):  # then it comes last by its time
        _put_order([known.key for known in entries()[0]])
    return entry


def keep(entry: Entry) -> None:
    """Write down how a film of the line stands now. Raises OutputError or DiskFullError."""
    record = {
        "format": FORMAT,
        "version": VERSION,
        "output": str(entry.output),
        "overwrite": entry.overwrite,
        "title": entry.title,
        "added": entry.added.isoformat(),
        "film": entry.form.value,
        "frames": entry.frames,
        "size": list(entry.size),
        "state": "failed" if entry.failed else "waiting",
        "reason": entry.reason,
    }
    write_json(queue_folder() / entry.key / _RECORD, record)


def entries() -> tuple[tuple[Entry, ...], tuple[str, ...]]:
    """Return the films in the order of the line, and words on those that can't be read; damaged ones are taken away."""
    found, words = list[Entry](), list[str]()
    for key in _keys():
        try:
            found.append(entry_of(key))
        except FileNotFoundError:
            _sweep(key)
        except OSError as error:
            words.append(f"A waiting film can't be read: {error.strerror or error}.")
        except ProjectFileError as error:
            words.append(str(error))
        except (KeyError, TypeError, ValueError, ArithmeticError):
            words.append(_DAMAGED)
            remove(key)
    order = {key: i for i, key in enumerate(_order())}
    found.sort(key=lambda entry: (order.get(entry.key, len(order)), entry.added, entry.key))
    return tuple(found), tuple(dict.fromkeys(words))


def entry_of(key: str) -> Entry:
    """Return the film of a key as it stands now.

    Raises OSError where it is not there, ValueError, KeyError or TypeError where it is damaged, ProjectFileError where it is
    of a newer version.
    """
    folder = queue_folder() / key
    record: dict[str, Any] = json.loads((folder / _RECORD).read_text(encoding="utf-8"))
    if record["format"] != FORMAT:
        raise ValueError("it is no waiting film")
    if record["version"] != VERSION:
        raise ProjectFileError("A waiting film was put in line by a newer lapsebench.", "Update the program to make it.")
    if not (folder / _PROJECT).is_file():
        raise ValueError("its project is gone")
    output, (width, height) = Path(str(record["output"])), map(int, record["size"])
    if not output.is_absolute():
        raise ValueError("its film has no whole path")
    added = datetime.fromisoformat(record["added"])
    if added.tzinfo is None:
        raise ValueError("its time has no zone")
    failed = record["state"] == "failed"
    return Entry(
        key,
        output,
        bool(record["overwrite"]),
        str(record["title"]),
        added,
        FilmFormat(record["film"]),
        int(record["frames"]),
        (width, height),
        str(record["reason"]) if failed else "",
    )


def project_of(entry: Entry) -> Project:
    """Return the project as it was when the film was put in line. Raises `ProjectFileError`."""
    return load_project(queue_folder() / entry.key / _PROJECT)


def move(key: str, by: int) -> None:
    """Move a film on in the line by `by` places, back where negative. Raises OutputError or DiskFullError."""
    keys = [entry.key for entry in entries()[0]]
    if key in keys:
        place = min(max(keys.index(key) + by, 0), len(keys) - 1)
        keys.remove(key)
        keys.insert(place, key)
        _put_order(keys)


def remove(key: str) -> None:
    """Take a film out of the line; one that is not there any more is none."""
    with suppress(OSError):
        (queue_folder() / key / _RECORD).unlink(missing_ok=True)
    shutil.rmtree(queue_folder() / key, ignore_errors=True)
    with suppress(OSError):
        _claim_path(key).unlink(missing_ok=True)


@contextmanager
def held(entry: Entry) -> Iterator[Entry | None]:
    """Hold the claim on a film while it is made, and give it as it stands now; None where another has it or it is gone."""
    try:
        with claimed(_claim_path(entry.key)) as mine:
            yield _there(entry) if mine else None
    finally:
        if not (queue_folder() / entry.key).exists():
            with suppress(OSError):
                _claim_path(entry.key).unlink(missing_ok=True)


def is_being_made(entry: Entry) -> bool:
    """Whether someone, here or in another program, holds the claim on a film now."""
    return is_claimed(_claim_path(entry.key))


def _there(entry: Entry) -> Entry | None:
    with suppress(OSError, KeyError, TypeError, ValueError, LapsebenchError):
        return entry_of(entry.key)
    return None


def _claim_path(key: str) -> Path:
    """Return the file that stands for the claim: beside the film's folder, which goes while the claim is held."""
    return queue_folder() / f"{key}.claim"


def _keys() -> list[str]:
    try:
        return [folder.name for folder in queue_folder().iterdir() if _KEY.fullmatch(folder.name) and folder.is_dir()]
    except OSError:
        return []


def _order() -> list[str]:
    with suppress(OSError, ValueError, KeyError, TypeError):
        return [str(key) for key in json.loads((queue_folder() / _ORDER).read_text(encoding="utf-8"))["order"]]
    return []


def _put_order(keys: list[str]) -> None:
    write_json(queue_folder() / _ORDER, {"format": f"{FORMAT}s", "version": VERSION, "order": keys})


def _sweep(key: str) -> None:
    """Take away what is left of a film that was never wholly put in line or is already out of it."""
    folder = queue_folder() / key
    with suppress(OSError):
        if time.time() - folder.stat().st_mtime > _STALE_S:
            shutil.rmtree(folder, ignore_errors=True)
