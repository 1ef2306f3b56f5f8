"""Starts the window, or says in one line what the computer lacks; imports Qt only once that is known to work."""

from __future__ import annotations

import ctypes
import os
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

from lapsebench.errors import NoScreenError

PACKAGES = (
    "libgl1 libegl1 libxkbcommon0 libdbus-1-3 libfontconfig1 libxcb-cursor0 libxkbcommon-x11-0 libxcb-icccm4 libxcb-image0 "
    "libxcb-keysyms1 libxcb-randr0 libxcb-render-util0 libxcb-shape0 libxcb-xinerama0 libxcb-xkb1 libglib2.0-0"
)
"""What Qt needs from a Debian or Ubuntu system."""

_XCB_LIBRARIES = (
    "libxcb-cursor.so.0",
    "libxkbcommon-x11.so.0",
    "libxcb-icccm.so.4",
    "libxcb-image.so.0",
    "libxcb-keysyms.so.1",
    "libxcb-render-util.so.0",
    "libxcb-shape.so.0",
    "libxcb-xinerama.so.0",
    "libxcb-xkb.so.1",
)


def launch(paths: Sequence[str | Path], demo: bool = False) -> int:
    """Open the window on `paths` and return the exit code. Raises `NoScreenError` where there can be no window."""
    check_screen(os.environ, sys.platform)
    try:
        from lapsebench.gui.app import run  # noqa: PLC0415  (importing Qt fails where its libraries are missing)
    except ImportError as error:
        raise _missing(str(error)) from error
    return run([Path(path) for path in paths], demo=demo)


def check_screen(environment: Mapping[str, str], platform: str) -> None:
    """Raise `NoScreenError` where no display is to be had, or where Qt would abort for want of a system library."""
    if not platform.startswith("linux"):
        return
    chosen = environment.get("QT_QPA_PLATFORM", "")
    if not (chosen or environment.get("DISPLAY") or environment.get("WAYLAND_DISPLAY")):
        raise NoScreenError(
            "There is no screen to open a window on (neither DISPLAY nor WAYLAND_DISPLAY is set).",
            "Start it from a desktop, or use the commands: lapsebench --help.",
        )
    if chosen.split(":")[0] == "xcb" or not (chosen or environment.get("WAYLAND_DISPLAY")):
        check_libraries(_XCB_LIBRARIES)


def check_libraries(names: Sequence[str]) -> None:
    """Raise `NoScreenError` that names the first of `names` the system's loader can't find."""
    for name in names:
        try:
            ctypes.CDLL(name)
        except OSError as error:
            raise _missing(str(error)) from error


def _missing(reason: str) -> NoScreenError:
    return NoScreenError(
        f"The window can't open, a system library is missing: {reason}.", f"On Debian or Ubuntu: apt install {PACKAGES}"
    )
