"""Garbage is collected on the UI thread alone while others work: on a worker thread it could stop the window for good."""

from __future__ import annotations

import gc
import threading
from collections.abc import Callable

from lapsebench.gui.jobs import Job, Jobs

Until = Callable[[Callable[[], bool]], None]


class Ring:
    """A ring of references, which only the collector takes apart; says on which thread."""

    def __init__(self, threads: list[threading.Thread]) -> None:
        self.itself, self.threads = self, threads

    def __del__(self) -> None:
        self.threads.append(threading.current_thread())


def test_rings_are_taken_apart_on_the_ui_thread(qapp: object, until: Until) -> None:  # noqa: ARG001
    jobs, threads = Jobs(), list[threading.Thread]()
    gc.collect()

    def work(_job: Job) -> int:
        return sum(len([Ring(threads) for _ in range(100)]) for _ in range(200))

    made = jobs.start(Job("", work), quiet=True)
    done = list[object]()
    made.finished.connect(done.append)
    until(lambda: bool(done) and len(threads) > 15_000)
    assert set(threads) == {threading.main_thread()}
    jobs.shutdown()
    assert gc.isenabled()


def test_two_windows_share_it() -> None:
    first, second = Jobs(), Jobs()
    assert not gc.isenabled()
    first.shutdown()
    assert not gc.isenabled()
    second.shutdown()
    assert gc.isenabled()
