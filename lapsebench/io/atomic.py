"""JSON and other files that appear under their name only when whole."""

from __future__ import annotations

import errno
import json
import os
from pathlib import Path
from typing import Any

from lapsebench.errors import DiskFullError, OutputError


def write_json(path: Path, record: dict[str, Any]) -> None:
    """Write `record` as UTF-8 JSON through a temporary file beside `path`. Raises `DiskFullError` or `OutputError`.

    File names that are no valid Unicode are escaped, so that they come back as they were.
    """
    try:
        data = json.dumps(record, indent=1, ensure_ascii=False, allow_nan=False).encode()
    except UnicodeEncodeError:
        data = json.dumps(record, indent=1, allow_nan=False).encode()
    write_bytes(path, data + b"\n")


def write_bytes(path: Path, data: bytes) -> None:
    """Write `data` through a temporary file beside `path`. Raises `DiskFullError` or `OutputError`."""
    part = path.with_name(f".{os.getpid()}.part")
    try:
        part.write_bytes(data)
        part.replace(path)
    except OSError as error:
        _remove(part)
        if error.errno == errno.ENOSPC:
            raise DiskFullError(f"The disk of “{path.parent}” is full.", "Make room or choose another folder.") from error
        raise OutputError(
            f"“{path.name}” can't be written: {error.strerror}.", "Choose a folder that exists and that you may write to."
        ) from error


def _remove(part: Path) -> None:
    try:
        part.unlink(missing_ok=True)
    except OSError:
        return  # the folder itself is gone or shut: there is nothing to clean up
