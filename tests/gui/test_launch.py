"""Starting: what is said where there can be no window, and the environment Qt starts in."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
import types
from pathlib import Path

import pytest

from lapsebench.errors import NoScreenError
from lapsebench.gui import app, launch
from lapsebench.gui.window import MainWindow


def test_no_display_is_one_line_with_a_remedy() -> None:
    with pytest.raises(NoScreenError, match="no screen") as caught:
        launch.check_screen({}, "linux")
    assert caught.value.remedy


def test_other_systems_always_have_a_screen() -> None:
    launch.check_screen({}, "darwin")
    launch.check_screen({"QT_QPA_PLATFORM": "offscreen"}, "linux")


def test_a_missing_library_names_the_packages(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(NoScreenError, match="libnowhere") as caught:
        launch.check_libraries(["libnowhere.so.0"])
    assert "libxcb-cursor0" in caught.value.remedy
    monkeypatch.setattr(launch, "_XCB_LIBRARIES", ("libnowhere.so.0",))
    with pytest.raises(NoScreenError):
        launch.check_screen({"DISPLAY": ":0"}, "linux")


def test_qt_that_cannot_be_imported_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    broken = types.ModuleType("lapsebench.gui.app")

    def missing(_name: str) -> object:
        raise ImportError("libGL.so.1: cannot open shared object file")

    broken.__getattr__ = missing  # type: ignore[method-assign]
    monkeypatch.setitem(sys.modules, "lapsebench.gui.app", broken)
    monkeypatch.setattr(launch, "check_screen", lambda *_: None)
    with pytest.raises(NoScreenError, match="libGL"):
        launch.launch([])


def test_launch_imports_no_qt() -> None:
    code = "import sys, lapsebench.gui.launch; sys.exit(any(name.startswith('PySide6') for name in sys.modules))"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_what_cv2_sets_is_cleared() -> None:
    environment = {"QT_QPA_PLATFORM_PLUGIN_PATH": "/cv2", "QT_QPA_FONTDIR": "/cv2", "HOME": "/h"}
    app.prepare_environment(environment)
    assert environment == {"HOME": "/h"}


def test_a_crash_is_shown_in_the_window(window: MainWindow) -> None:
    seen: list[BaseException] = []
    hook = app.crash_hook(window, lambda _kind, error, _trace: seen.append(error))
    error = RuntimeError("slot fell over")
    hook(RuntimeError, error, None)
    assert seen == [error]
    assert "slot fell over" in window.messages.messages[0].what


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_closes_the_open_window(night: Path, tmp_path: Path, number: signal.Signals) -> None:
    cache = tmp_path / "cache"
    environment = {
        **os.environ,
        "QT_QPA_PLATFORM": "offscreen",
        "LAPSEBENCH_CACHE": str(cache),
        "XDG_CONFIG_HOME": str(tmp_path / "config"),
    }
    command = [sys.executable, "-m", "lapsebench", str(night)]
    with subprocess.Popen(command, env=environment, stderr=subprocess.PIPE, text=True) as program:
        try:
            _wait_for_files(cache)
            program.send_signal(number)
            _, said = program.communicate(timeout=15)
        finally:
            program.kill()
    assert "Traceback" not in said
    assert program.returncode == 0


def _wait_for_files(folder: Path) -> None:
    """Wait until the window keeps the first measures of its night."""
    for _ in range(600):
        if folder.is_dir() and any(path.is_file() for path in folder.rglob("*")):
            return
        time.sleep(0.05)
    raise AssertionError("the window measured nothing")


def test_signals_are_as_before_once_the_window_is_closed(window: MainWindow) -> None:
    numbers = (signal.SIGINT, signal.SIGTERM)
    before = [signal.getsignal(number) for number in numbers]
    with app.closed_by_signals(window):
        assert [signal.getsignal(number) for number in numbers] != before
    assert [signal.getsignal(number) for number in numbers] == before


def test_the_packages_named_are_those_the_set_up_installs() -> None:
    script = (Path(__file__).resolve().parents[2] / "resources" / "setup.sh").read_text()
    installed = script.split('packages="')[1].split('"')[0].split()
    assert set(launch.PACKAGES.split()) == set(installed) - {"python3-venv", "fonts-dejavu-core"}
