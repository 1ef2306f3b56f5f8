"""How many changes a second there are over enough of a field of view, and which passages have too many.

A field's changes are counted in two ways, and the larger number decides. Together: changes of one direction in the same
frame over more than a quarter of the field, less those of the other direction, so that what only moves is no flash. By
places: the changes that more than a quarter of the field's pixels have each made within the second, in step or not.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Shares = NDArray[np.float64]

LARGE = 0.25
"""Share of a field above which changes count."""
ALLOWED = 6
"""Changes a second that are still allowed: three pairs."""
BUSY, BUSY_S, OF_S = 4, 4.0, 5.0
"""Changes a second that are a risk where they go on for more than four of five seconds."""
_SECOND = 1.0 - 1e-3  # changes a second apart are not within one; containers round times to a millisecond


@dataclass(slots=True)
class Passage:
    """Frames with too many changes: first and last of them, and the worst within; `box` is (x0, y0, x1, y1) in 0..1."""

    first: int
    last: int
    start_s: float
    end_s: float
    changes: int
    area: float
    box: tuple[float, float, float, float]


class Recent:
    """What happened within the last second: how often at each place, `count` (h, w), and in which frames."""

    def __init__(self, shape: tuple[int, int]) -> None:
        self.count = np.zeros(shape, np.int16)
        self.frames: deque[tuple[int, float, NDArray[np.bool_]]] = deque()

    def add(self, frame: int, at: float, where: NDArray[np.bool_]) -> None:
        """Count one more at the places `where` it happened in a frame, and forget what is a second old."""
        while self.frames and self.frames[0][1] <= at - _SECOND:
            self.count -= self.frames.popleft()[2]
        if where.any():
            self.count += where
            self.frames.append((frame, at, where))


class Field:
    """A field of view of a part of the picture's width and height, moved over all of the picture."""

    def __init__(self, size: tuple[int, int], part: tuple[float, float]) -> None:
        """`size` is the picture's (width, height) in pixels."""
        self._size = size
        self._wide, self._high = (int(np.ceil(side * share - 1e-9)) for side, share in zip(size, part, strict=True))
        self.pixels = size[0] * part[0] * size[1] * part[1]
        self.places = size[1] - self._high + 1, size[0] - self._wide + 1

    def shares(self, where: NDArray[np.int8] | NDArray[np.bool_]) -> Shares:
        """Return the sum of `where` (h, w) over the field at all its places, as a share of it, in [-1, 1]."""
        width, height = self._size
        if self.places == (1, 1):
            return np.array([[where.sum(dtype=np.int64) / self.pixels]])
        sums = np.zeros((height + 1, width + 1), np.int32)
        np.cumsum(np.cumsum(where, axis=0, dtype=np.int32), axis=1, out=sums[1:, 1:])
        columns = sums[:, self._wide :] - sums[:, : width + 1 - self._wide]
        inside = columns[self._high :] - columns[: height + 1 - self._high]
        return np.clip(inside / self.pixels, -1, 1)

    def cut(self, place: tuple[int, int]) -> tuple[slice, slice]:
        """Return the field's rows and columns at a place (y, x)."""
        return slice(place[0], place[0] + self._high), slice(place[1], place[1] + self._wide)

    def box(self, place: tuple[int, int]) -> tuple[float, float, float, float]:
        """Return the field at a place as (x0, y0, x1, y1) in parts of the picture."""
        (width, height), (rows, columns) = self._size, self.cut(place)
        return columns.start / width, rows.start / height, columns.stop / width, rows.stop / height


class FieldCount:
    """Counts one kind of change by one text.

    `too_many` and `too_long` are the passages found; `worst` the most changes in any second, ending at `worst_s`; `area` the
    largest share of a field that changed in one frame.
    """

    def __init__(self, field: Field, *, sustained: bool) -> None:
        """`sustained` asks for passages that go on for too long as well; for a field that is the whole picture."""
        self._field, self._sustained = field, sustained
        self._together = Recent(field.places)
        self._direction = np.zeros(field.places, np.int8)
        self._busy: deque[tuple[int, float, float]] = deque()
        self.too_many: list[Passage] = []
        self.too_long: list[Passage] = []
        self.worst, self.worst_s, self.area = 0, 0.0, 0.0

    def add(self, frame: int, at: float, turned: NDArray[np.int8], places: Recent) -> None:
        """Take in the changes of a frame, +1 or -1, (h, w); `places` has them counted already."""
        net = self._field.shares(turned)
        self.area = max(self.area, float(np.abs(net).max()))
        event = ((net > LARGE) & (self._direction <= 0)) | ((net < -LARGE) & (self._direction >= 0))
        np.copyto(self._direction, np.sign(net).astype(np.int8), where=event)
        self._together.add(frame, at, event)
        changes = self._most(places.count, int(self._together.count.max()))
        if changes > self.worst:
            self.worst, self.worst_s = changes, at
        if changes > ALLOWED:
            self._note_too_many(frame, at, changes, self._over(event, net, turned, places), places)
        if self._sustained and changes >= BUSY:
            self._note_busy(frame, at, changes, net)

    def _most(self, count: NDArray[np.int16], known: int) -> int:
        """Return how many changes over a quarter of a field's pixels have each made, if more than `known`."""
        low, high = known, int(count.max())
        while low < high:
            middle = (low + high + 1) // 2
            if self._large(count >= middle):
                low = middle
            else:
                high = middle - 1
        return low

    def _large(self, where: NDArray[np.bool_]) -> bool:
        if np.count_nonzero(where) <= LARGE * self._field.pixels:  # too few for any field, however it lies
            return False
        return bool((self._field.shares(where) > LARGE).any())

    def _over(self, event: NDArray[np.bool_], net: Shares, turned: NDArray[np.int8], places: Recent) -> Shares:
        """Return the share of each field that takes part in too many changes now; 0 where it doesn't."""
        together: Shares = np.where(event & (self._together.count > ALLOWED), np.abs(net), 0.0)
        often = places.count > ALLOWED
        if not (often & (turned != 0)).any():
            return together
        alone = self._field.shares(often)
        return np.maximum(together, np.where(alone > LARGE, alone, 0.0))

    def _note_too_many(self, frame: int, at: float, changes: int, share: Shares, places: Recent) -> None:
        y, x = np.unravel_index(int(share.argmax()), share.shape)
        place = int(y), int(x)
        if share[place] <= 0:
            return
        cut = self._field.cut(place)
        first, start = next((number, then) for number, then, where in places.frames if where[cut].any())
        found = Passage(first, frame, start, at, changes, float(share[place]), self._field.box(place))
        _extend(self.too_many, found)

    def _note_busy(self, frame: int, at: float, changes: int, net: Shares) -> None:
        """Keep the times with four or more changes in the second gone by, and note where they are most of five seconds.

        They last until the fourth change from the end is a second old, as if the last picture stood on.
        """
        together = self._together.frames
        until = (together[-BUSY][1] if len(together) >= BUSY else at) + 1.0
        if self._busy and at <= self._busy[-1][2] + 1e-3:
            first, start, end = self._busy.pop()
            self._busy.append((first, start, max(end, until)))
        else:
            self._busy.append((frame, at, until))
        end = self._busy[-1][2]
        while self._busy[0][2] <= end - OF_S:
            self._busy.popleft()
        if sum(stop - max(start, end - OF_S) for _, start, stop in self._busy) > BUSY_S + 1e-3:
            y, x = np.unravel_index(int(np.abs(net).argmax()), net.shape)
            first, start, _ = self._busy[0]
            area = float(np.abs(net[y, x]))
            _extend(self.too_long, Passage(first, frame, start, at, changes, area, self._field.box((int(y), int(x)))))


def _extend(passages: list[Passage], found: Passage) -> None:
    """Add a passage, or widen the last where they are less than a second apart."""
    if not passages or found.start_s > passages[-1].end_s + 1.0:
        passages.append(found)
        return
    last = passages[-1]
    last.last, last.end_s, last.changes = found.last, found.end_s, max(last.changes, found.changes)
    if found.area > last.area:
        last.area, last.box = found.area, found.box
