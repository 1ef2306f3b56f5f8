"""The running application: environment, theme, what happens on a crash and on a signal to stop."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable, Iterator, MutableMapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import FrameType, TracebackType

from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication

from lapsebench import __version__
from lapsebench.gui.window import MainWindow

_WAKE_MS = 200
Hook = Callable[[type[BaseException], BaseException, TracebackType | None], object]


def prepare_environment(environment: MutableMapping[str, str]) -> None:
    """Undo what importing cv2 does: its wheel points Qt at plugins and fonts of its own."""
    for name in ("QT_QPA_PLATFORM_PLUGIN_PATH", "QT_QPA_FONTDIR"):
        environment.pop(name, None)


def run(paths: Sequence[Path], *, demo: bool = False) -> int:
    """Open the window on `paths`, or on the demo night, and return the exit code when it is closed."""
    prepare_environment(os.environ)
    app = QApplication.instance() or QApplication(sys.argv[:1])
    assert isinstance(app, QApplication)
    app.setApplicationName("lapsebench")
    app.setApplicationVersion(__version__)
    window = MainWindow()
    old_hook = sys.excepthook
    sys.excepthook = crash_hook(window, old_hook)
    try:
        with closed_by_signals(window):
            window.show()
            if demo:
                window.open_demo()
            elif paths:
                window.open_paths(list(paths))
            return app.exec()
    finally:
        sys.excepthook = old_hook


def crash_hook(window: MainWindow, before: Hook) -> Hook:
    """Return an exception hook that shows a crash in the window and then goes on as before."""

    def hook(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
        before(kind, error, trace)
        if issubclass(kind, Exception):
            window.messages.show_error(error)

    return hook


@contextmanager
def closed_by_signals(window: MainWindow) -> Iterator[None]:
    """Within it, Ctrl+C in the terminal and SIGTERM close the window; after it they do what they did before."""

    def close(_number: int, _frame: FrameType | None) -> None:
        QTimer.singleShot(0, window.close_now)  # not from the midst of whatever Python is at

    before = {number: signal.signal(number, close) for number in (signal.SIGINT, signal.SIGTERM)}
    wake = QTimer(interval=_WAKE_MS)  # lets Python see the signal while Qt waits
    wake.timeout.connect(lambda: None)
    wake.start()
    try:
        yield
    finally:
        wake.stop()
        for number, handler in before.items():
            signal.signal(number, handler)
