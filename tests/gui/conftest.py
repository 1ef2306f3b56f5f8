"""What the tests of the window share: no screen is needed, settings are each test's own, a night is small."""

from __future__ import annotations

import gc
import os
import threading
import time
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import shiboken6
from PIL import Image
from PySide6.QtCore import QSettings
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from lapsebench.core.progress import Tick
from lapsebench.core.transfer import linear_to_srgb
from lapsebench.gui.app import prepare_environment
from lapsebench.gui.window import MainWindow

SIZE = (144, 96)
FRAMES = 12
CHANGE = 7
"""The frame at which the tests' night goes from 10 s to 4 s."""
WAIT_MS = 60_000

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
prepare_environment(os.environ)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Let the one thing pass that Qt says because there is no screen; any other Qt warning fails a test."""
    for item in items:
        item.add_marker(pytest.mark.qt_log_ignore("This plugin does not support propagateSizeHints", extend=True))


@pytest.fixture(autouse=True)
def own_settings(tmp_path: Path) -> None:
    """Keep the settings of a test out of the user's and of the next test's."""
    QSettings.setPath(QSettings.Format.IniFormat, QSettings.Scope.UserScope, str(tmp_path / "settings"))


@pytest.fixture(autouse=True)
def no_threads_left() -> Iterator[None]:
    """Fail a test that leaves a thread behind."""
    before = set(threading.enumerate())
    yield
    left = [thread.name for thread in set(threading.enumerate()) - before if thread.is_alive()]
    assert not left, f"threads left behind: {left}"


def write_frame(path: Path, number: int, *, exposure_s: float, blown: bool = False) -> None:
    """Write a JPEG of a still sky, as bright as its exposure, with what a camera notes in it."""
    rng = np.random.default_rng(1)
    sky = rng.uniform(0.002, 0.02, (SIZE[1] // 8, SIZE[0] // 8, 3)).repeat(8, axis=0).repeat(8, axis=1)
    light = np.clip(sky * exposure_s * (500 if blown else 1), 0, 1)
    image = Image.fromarray(np.rint(linear_to_srgb(light) * 255).astype(np.uint8))
    exif = Image.Exif()
    exif[0x0110] = "Testcamera"
    marks = exif.get_ifd(0x8769)
    taken = datetime(2026, 2, 11, 21, 4) + timedelta(seconds=15 * number)
    marks[0x9003] = taken.strftime("%Y:%m:%d %H:%M:%S")
    marks[0x829A], marks[0x829D], marks[0x8827] = exposure_s, 2.8, 1600
    image.save(path, quality=95, exif=exif)


@pytest.fixture
def night(tmp_path: Path) -> Path:
    """Return a folder of twelve frames, shot at 10 s and then at 4 s."""
    folder = tmp_path / "night"
    folder.mkdir()
    for i in range(FRAMES):
        write_frame(folder / f"F{i:04d}.jpg", i, exposure_s=10.0 if i < CHANGE else 4.0)
    return folder


@pytest.fixture
def new_window(qapp: QApplication) -> Iterator[Callable[[], MainWindow]]:  # noqa: ARG001
    """Return a function that makes a window; all are deleted at the end, here and not by a collector on another thread."""
    made: list[MainWindow] = []

    def make() -> MainWindow:
        made.append(MainWindow())
        made[-1].resize(1280, 800)
        made[-1].show()
        made[-1].activateWindow()
        return made[-1]

    yield make
    for each in made:
        each.close_now()
        shiboken6.delete(each)
    made.clear()
    gc.collect()


@pytest.fixture
def window(new_window: Callable[[], MainWindow], qtbot: QtBot) -> MainWindow:
    """Return the window, shown and with nothing open."""
    made = new_window()
    qtbot.waitExposed(made)
    return made


@pytest.fixture
def surveyed(window: MainWindow, night: Path, qtbot: QtBot) -> MainWindow:
    """Return the window with the small night open and surveyed."""
    window.open_paths([night])
    qtbot.waitUntil(lambda: window.session.film_light is not None and not window.opener.busy, timeout=WAIT_MS)
    return window


@pytest.fixture
def until(qtbot: QtBot) -> Callable[[Callable[[], bool]], None]:
    """Return a function that waits until something holds."""
    return lambda holds: qtbot.waitUntil(holds, timeout=WAIT_MS)


@pytest.fixture
def slow_film() -> Callable[..., object]:
    """Return a making of films that only ends when it is cancelled."""

    def slow(*_args: object, tick: Tick, **_options: object) -> object:
        for done in range(10_000):
            tick(done, 10_000)
            time.sleep(0.005)
        raise AssertionError("was not cancelled")

    return slow
