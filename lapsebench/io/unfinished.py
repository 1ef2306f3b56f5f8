"""Remembers which unfinished films are being written, so that the next start takes away what a killed program left.

One small file for each, in the user's state folder, names the film and the process that writes it.
"""

from __future__ import annotations

import json
import os
import secrets
import time
from contextlib import suppress
from pathlib import Path

from platformdirs import user_state_path

_STALE_S = 3600.0  # an unfinished film that nobody wrote to for this long is nobody's any more


def notes_folder() -> Path:
    """Return where the notes are: under the environment's LAPSEBENCH_CACHE if set, else the user's state folder."""
    root = os.environ.get("LAPSEBENCH_CACHE")
    return (Path(root) if root else user_state_path("lapsebench", appauthor=False)) / "unfinished"


def note(partial: Path) -> Path | None:
    """Note that this process writes to `partial`, and return the note; None where none can be kept."""
    path = notes_folder() / f"{os.getpid()}-{secrets.token_hex(4)}.json"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps({"film": str(partial.absolute()), "process": os.getpid()}), encoding="utf-8")
    except OSError:
        return None
    return path


def forget(noted: Path | None) -> None:
    """Take a note away."""
    if noted is not None:
        with suppress(OSError):
            noted.unlink(missing_ok=True)


def sweep() -> None:
    """Take away the unfinished films of programs that run no more; what can't be removed now is tried again later."""
    with suppress(OSError):
        for path in notes_folder().glob("*.json"):
            with suppress(OSError, ValueError, KeyError, TypeError):
                record = json.loads(path.read_text(encoding="utf-8"))
                _sweep_one(path, Path(record["film"]), int(record["process"]))


def _sweep_one(path: Path, film: Path, process: int) -> None:
    if ".partial-" not in film.name or _runs(process, film):
        return
    film.unlink(missing_ok=True)
    path.unlink(missing_ok=True)


def _runs(process: int, film: Path) -> bool:
    """Whether the process that writes a film may still be there; where that can't be asked, by when it was written to."""
    if os.name == "posix":
        try:
            os.kill(process, 0)
        except ProcessLookupError:
            return False
        except PermissionError:
            return True
        return True
    with suppress(OSError):
        return time.time() - film.stat().st_mtime < _STALE_S
    return False
