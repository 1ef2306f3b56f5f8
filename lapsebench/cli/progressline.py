"""What a command prints while it works: bars on a terminal, plain lines otherwise; and how Ctrl+C stops it."""

from __future__ import annotations

import signal
import sys
from types import FrameType, TracebackType
from typing import Any

from tqdm import tqdm

from lapsebench.errors import Cancelled


def say(text: str) -> None:
    """Print a line for the user on standard error."""
    print(text, file=sys.stderr, flush=True)


class Stop:
    """While active, SIGINT and SIGTERM raise `Cancelled` at the next tick instead of a traceback."""

    asked = False

    def __enter__(self) -> Stop:
        Stop.asked = False
        self._before = {sign: signal.signal(sign, self._ask) for sign in (signal.SIGINT, signal.SIGTERM)}
        return self

    def __exit__(self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None) -> None:
        for sign, handler in self._before.items():
            signal.signal(sign, handler)

    @staticmethod
    def _ask(_sign: int, _frame: FrameType | None) -> None:
        if Stop.asked:  # asked twice: don't wait for the next tick
            raise KeyboardInterrupt
        Stop.asked = True


class ProgressLine:
    """A `Tick` that draws a bar on a terminal, or says every tenth part on a plain line."""

    def __init__(self, what: str, unit: str = "frame") -> None:
        self._what = what
        self._unit = unit
        self._bar: tqdm[Any] | None = None
        self._said = -1

    def __call__(self, done: int, total: int) -> None:
        """Show `done` of `total`. Raises `Cancelled` once the user asked to stop."""
        if Stop.asked:
            raise Cancelled
        if sys.stderr.isatty():
            self._draw(done, total)
        elif total and done * 10 // total > self._said:
            self._said = done * 10 // total
            say(f"{self._what}: {done} of {total} {self._unit}s")

    def _draw(self, done: int, total: int) -> None:
        if self._bar is None:
            self._bar = tqdm(total=total, desc=self._what, unit=self._unit, file=sys.stderr, dynamic_ncols=True)
        self._bar.update(done - self._bar.n)

    def __enter__(self) -> ProgressLine:
        return self

    def __exit__(self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None) -> None:
        if self._bar is not None:
            self._bar.close()
