"""Work off the UI thread: jobs that report, fail and stop in the open, and requests of which only the latest counts."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from PySide6.QtCore import QObject, Qt, Signal

from lapsebench.core.progress import Tick
from lapsebench.errors import Cancelled
from lapsebench.gui.collecting import Collector

Work = Callable[["Job"], object]
"""The work of a job: called on a worker thread with its job, for `job.tick` and `job.send`."""

_REPORT_S = 0.04  # progress is told at most this often


class _Relay(QObject):
    """Carries reports from worker threads to the UI thread; it outlives every thread, which a job need not."""

    report = Signal(object, str, object)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._closed = False
        self.report.connect(self._deliver, Qt.ConnectionType.QueuedConnection)

    def close(self) -> None:
        """Let nothing through any more: what is still under way has nobody to go to."""
        self._closed = True

    def _deliver(self, job: Job, kind: str, value: Any) -> None:
        if not self._closed:
            job.deliver(kind, value)


class Job(QObject):
    """One piece of work, made on the UI thread; every signal comes there, in the order it was sent."""

    progress = Signal(int, int)
    part = Signal(object)
    stage_changed = Signal(str)
    finished = Signal(object)
    failed = Signal(object)
    cancelled = Signal()
    ended = Signal(object)

    def __init__(self, title: str, work: Work, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.title = title
        self._work = work
        self._stop = threading.Event()
        self._told = 0.0
        self._relay: _Relay | None = None

    def cancel(self) -> None:
        """Tell the work to stop at its next tick."""
        self._stop.set()

    def tick(self, done: int, total: int) -> None:
        """Report progress, on the worker thread; raises `Cancelled` once the job was told to stop."""
        if self._stop.is_set():
            raise Cancelled
        now = time.monotonic()
        if now - self._told >= _REPORT_S or done >= total:
            self._told = now
            self._report("progress", (done, total))

    def stage(self, title: str) -> None:
        """Begin the next stage, on the worker thread: the work is called `title` now, and its progress starts anew."""
        self._told = 0.0
        self._report("stage", title)

    def send(self, part: object) -> None:
        """Hand over a part of the result, on the worker thread."""
        self._report("part", part)

    def run(self, relay: _Relay) -> None:
        """Do the work, on the worker thread; whatever happens is reported."""
        self._relay = relay
        try:
            if self._stop.is_set():
                raise Cancelled
            result = self._work(self)
        except Cancelled:
            self._report("cancelled", None)
        except BaseException as error:  # the thread pool would swallow it
            self._report("failed", error)
        else:
            self._report("finished", result)

    def deliver(self, kind: str, value: Any) -> None:
        """Tell on the UI thread what the worker thread reported."""
        if kind == "progress":
            self.progress.emit(*value)
            return
        if kind == "part":
            self.part.emit(value)
            return
        if kind == "stage":
            self.title = value
            self.stage_changed.emit(value)
            return
        if kind == "cancelled":
            self.cancelled.emit()
        else:
            (self.finished if kind == "finished" else self.failed).emit(value)
        self.ended.emit(self)

    def _report(self, kind: str, value: object) -> None:
        if self._relay is not None:
            self._relay.report.emit(self, kind, value)


class Jobs(QObject):
    """Runs jobs on a few threads and can stop them all."""

    started = Signal(object)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._pool = ThreadPoolExecutor(max_workers=4, thread_name_prefix="lapsebench-job")
        self._relay = _Relay(self)
        self._collector = Collector(self)
        self._running: set[Job] = set()
        self._closed = False

    def start(self, job: Job, *, quiet: bool = False) -> Job:
        """Start a job; a quiet one is not shown in the work bar."""
        if self._closed:
            return job
        self._running.add(job)
        job.ended.connect(self._forget)
        self._pool.submit(job.run, self._relay)
        if not quiet:
            self.started.emit(job)
        return job

    def shutdown(self) -> None:
        """Cancel every job and wait for the threads to end."""
        self._closed = True
        self._relay.close()
        for job in self._running:
            job.cancel()
        self._pool.shutdown(wait=True, cancel_futures=True)
        self._collector.stop()

    def _forget(self, job: Job) -> None:
        self._running.discard(job)
        job.deleteLater()


class Latest(QObject):
    """Keeps one request at a time in work and one waiting; a newer request replaces the waiting one."""

    ready = Signal(object)
    failed = Signal(object)

    def __init__(self, jobs: Jobs, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._jobs = jobs
        self._running: Job | None = None
        self._waiting: Callable[[Tick], object] | None = None
        self._stale = False

    def request(self, work: Callable[[Tick], object]) -> None:
        """Ask for `work`; the result of anything asked for before is dropped."""
        self._stale = self._running is not None
        self._waiting = work
        if self._running is None:
            self._next()

    def drop(self) -> None:
        """Forget what was asked for."""
        self._waiting = None
        self._stale = self._running is not None

    def _next(self) -> None:
        work, self._waiting = self._waiting, None
        if work is None:
            return
        self._stale = False
        job = Job("", lambda job: work(job.tick))
        job.finished.connect(self._deliver)
        job.failed.connect(self._fail)
        job.ended.connect(self._end)
        self._running = job
        self._jobs.start(job, quiet=True)

    def _deliver(self, result: object) -> None:
        if not self._stale:
            self.ready.emit(result)

    def _fail(self, error: object) -> None:
        if not self._stale:
            self.failed.emit(error)

    def _end(self, _job: Job) -> None:
        self._running = None
        self._next()
