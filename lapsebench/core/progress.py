"""How long work reports its progress and learns that it was cancelled."""

from __future__ import annotations

from typing import Protocol


class Tick(Protocol):
    """Called as `tick(done, total)` after each unit of work; raises `Cancelled` to stop the work."""

    def __call__(self, done: int, total: int) -> None:
        """Report `done` of `total` units."""


def silent(done: int, total: int) -> None:
    """Report to nobody."""


class Pace:
    """Time left, from the rate of the last units rather than the first."""

    def __init__(self, now: float, memory: float = 0.9) -> None:
        self._started = now
        self._last = (now, 0)
        self._rate: float | None = None
        self._memory = memory

    def update(self, done: int, total: int, now: float) -> float | None:
        """Return the seconds left after `done` of `total` units at clock `now`; None while unknown."""
        elapsed, units = now - self._last[0], done - self._last[1]
        if units > 0 and elapsed > 0:
            rate = units / elapsed
            share = self._memory ** min(units, 20)
            self._rate = rate if self._rate is None else share * self._rate + (1 - share) * rate
            self._last = (now, done)
        if not self._rate or now - self._started < 0.5:
            return None
        return max(total - done, 0) / self._rate

    @property
    def rate(self) -> float | None:
        """Units per second of late; None while unknown."""
        return self._rate
