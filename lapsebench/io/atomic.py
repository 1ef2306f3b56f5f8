"""Text files that appear under their name only when whole."""

from __future__ import annotations

import errno
import os
from pathlib import Path

from lapsebench.errors import DiskFullError, OutputError


def write_text(path: Path, text: str) -> None:
    """Write `text` as UTF-8 through a temporary file beside `path`. Raises `DiskFullError` or `OutputError`."""
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        part.write_text(text, encoding="utf-8")
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        if error.errno == errno.ENOSPC:
            raise DiskFullError(f"The disk of “{path.parent}” is full.", "Make room or choose another folder.") from error
        raise OutputError(
            f"“{path.name}” can't be written: {error.strerror}.", "Choose a folder that exists and that you may write to."
        ) from error
