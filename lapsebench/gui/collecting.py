"""Keeps Python's garbage collector on the UI thread while other threads work.

A collection runs on whatever thread happens to allocate. On a worker thread it would take Qt objects apart there while the
UI thread may be at the same signals: each then waits for what the other holds, and the window stands still for good.
"""

from __future__ import annotations

import gc
import time

from PySide6.QtCore import QObject, QTimer

_EVERY_MS = 200
_FULL_EVERY_S = 10.0


class Collector(QObject):
    """Turns automatic collections off and makes them here, as often as Python's own thresholds ask, until `stop`."""

    _living = 0

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        Collector._living += 1
        gc.disable()
        self._stopped, self._full = False, time.monotonic()
        self._timer = QTimer(self, interval=_EVERY_MS)
        self._timer.timeout.connect(self._collect)
        self._timer.start()

    def stop(self) -> None:
        """Give the collecting back to Python, once no collector is left."""
        if not self._stopped:
            self._stopped = True
            self._timer.stop()
            Collector._living -= 1
            if not Collector._living:
                gc.enable()

    def _collect(self) -> None:
        counts, most = gc.get_count(), gc.get_threshold()
        if counts[2] > most[2] and time.monotonic() - self._full > _FULL_EVERY_S:
            gc.collect()
            self._full = time.monotonic()
        elif counts[1] > most[1]:
            gc.collect(1)
        elif counts[0] > most[0]:
            gc.collect(0)
