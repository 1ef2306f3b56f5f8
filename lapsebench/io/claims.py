"""Claims on work that two running programs must not do both: a lock on a small file, which ends with the process.

The system itself gives a dead process's lock free, so that no claim outlives its program, nor a restart of the computer.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

_TRIES, _PAUSE_S = 5, 0.01  # whoever only asks holds the lock for an instant

if sys.platform == "win32":
    import msvcrt

    def _lock(file: int, *, alone: bool) -> None:  # noqa: ARG001
        msvcrt.locking(file, msvcrt.LK_NBLCK, 1)

else:
    import fcntl

    def _lock(file: int, *, alone: bool) -> None:
        fcntl.flock(file, (fcntl.LOCK_EX if alone else fcntl.LOCK_SH) | fcntl.LOCK_NB)


@contextmanager
def claimed(path: Path) -> Iterator[bool]:
    """Hold the claim that the file `path` stands for, and give whether it is held: False where someone else has it.

    Where the file can't be made nobody can have claimed anything, and it counts as held.
    """
    try:
        file = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    except OSError:
        yield True
        return
    try:
        yield _taken(file)
    finally:
        os.close(file)  # which ends the lock


def is_claimed(path: Path) -> bool:
    """Whether someone, here or in another program, holds the claim that the file `path` stands for now."""
    with suppress(OSError):
        file = os.open(path, os.O_RDWR)
        try:
            _lock(file, alone=False)
        except (BlockingIOError, PermissionError):
            return True
        finally:
            os.close(file)
    return False


def _taken(file: int) -> bool:
    for _ in range(_TRIES):
        try:
            _lock(file, alone=True)
        except (BlockingIOError, PermissionError):
            time.sleep(_PAUSE_S)
        except OSError:
            return True  # some network folders have no locks: nobody else could say either
        else:
            return True
    return False
