"""Follows points of light from frame to frame: stars as the sky turns, lamps where they stand."""

from __future__ import annotations

from enum import Enum

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]

_REACH = 2.0  # px from where a point is awaited within which it is taken for the same
_FIRST_REACH = 5.0  # the same before the motion is known
_NEW = 5.0  # px to the nearest followed point from which on a found one is new
_PARTED = 1.5  # px between where a star and a lamp would be from which on they are told apart
_PULL = 0.2  # share of a point's offset from where it was awaited that moves it
_LIKE = 0.2  # px of difference between two offsets that tell nothing
_MEMORY = 0.8  # share of the old in the running mean of squared offsets
_ANCHOR = 12.0  # px of motion after which a star's motion is measured from there on
_ENOUGH = 5  # times found
_LOOSE = 0.3  # px, scale of the loss in the fit of the motion
_ALIKE, _MOST_ALIKE = 0.3, 0.75  # px by which a way may differ from what is awaited, and how many must be so near to it
_LOST_AFTER = 60  # steps since it was last found
_LONG = 10.0  # units of time after which where a star should be is too unsure
_ENOUGH_MOVING = 6  # stars that tell the motion


class Kind(Enum):
    """What a point of light is."""

    STAR = "star"
    LAMP = "lamp"


class Follower:
    """Follows points through the frames of one shot, (k,) at any time.

    The motion of the sky is a polynomial of the place of up to second order, px a unit of time. `number`: of each point,
    never used again. `star` and `lamp`: (2, k) px, where it should be in the frame of the last step if it turns with the
    sky, and if it stands still; which of the two it is shows after some frames.
    """

    def __init__(self, size: tuple[int, int], *, most: int = 2000) -> None:
        """Begin with no points; `size` is the height and width of the frames, px; `most` points are followed at a time."""
        self.size, self._most = size, most
        self._height, self._width = size
        self._motion = np.zeros((6, 2))
        self._moving = False
        self._count = self._steps = self._known_for = 0
        self._time: float | None = None
        self.number = np.zeros(0, np.intp)
        self._kinds: dict[int, Kind] = {}
        self.star = np.zeros((2, 0))
        self.lamp = np.zeros((2, 0))
        self._anchor = np.zeros((3, 0))  # x, y, time
        self._found = np.zeros(0)
        self._last = np.zeros(0)
        self._star_miss = np.zeros(0)
        self._lamp_miss = np.zeros(0)
        self._hit = np.zeros(0, bool)

    @property
    def kinds(self) -> dict[int, Kind]:
        """What the points proved to be so far, by number; without those that could be either or were found too seldom."""
        return dict(self._kinds)

    @property
    def moving(self) -> bool:
        """Whether the motion is known by now."""
        return self._moving

    @property
    def _still(self) -> Bools:
        return np.asarray(self._apart & (self._lamp_miss < self._star_miss))

    @property
    def _apart(self) -> Bools:
        far: Bools = np.hypot(*(self.star - self.lamp)) > _PARTED
        return far

    def step(self, time: float, found: Floats) -> None:
        """Take in the points `found`, (2, m) px, of the next frame at `time`."""
        self._steps += 1
        elapsed = time - self._time if self._time is not None else 0.0
        self._time = time
        if elapsed > _LONG:
            self._drop(np.ones(self.number.size, bool))
        self.star = self.star + elapsed * self.speed(self.star)
        self._known_for += self._moving
        if found.shape[1]:
            self._match(found)
            self._learn_motion(time)
            self._judge()
            self._add(time, found)
        self._forget()

    def speed(self, xy: Floats) -> Floats:
        """Return how fast what turns with the sky moves at `xy` (2, k) px, the same shape, px a unit of time."""
        moved: Floats = (self._terms(xy) @ self._motion).T
        return moved

    def _terms(self, xy: Floats) -> Floats:
        """Return the polynomial's terms at `xy`, (k, 6)."""
        x, y = xy[0] / self._width - 0.5, xy[1] / self._width - 0.5
        return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)

    def _match(self, found: Floats) -> None:
        """Move each point that was found again, and note how far off it was as a star and as a lamp."""
        if not self.number.size:
            return
        reach = _REACH if self._moving else _FIRST_REACH
        star_off, nearest = _nearest(found, self.star)
        lamp_off, _ = _nearest(found, self.lamp)
        hit = star_off < reach
        pull = max(_PULL, 1 / (1 + self._known_for))
        drawn = hit & (star_off <= lamp_off + _LIKE) if self._moving else hit  # a lamp must not hold its star back
        self.star[:, drawn] += pull * (found[:, nearest[drawn]] - self.star[:, drawn])
        seen = hit | (lamp_off < reach)
        for miss, off in ((self._star_miss, star_off), (self._lamp_miss, lamp_off)):
            miss[seen] = _MEMORY * miss[seen] + (1 - _MEMORY) * np.minimum(off[seen], reach) ** 2
        self._found[seen] += 1
        self._last[seen] = self._steps
        self._hit = hit

    def _learn_motion(self, time: float) -> None:
        """Fit the motion to the stars' ways since their anchors, by least squares with a Cauchy loss."""
        if not self.number.size:
            return
        way = self.star - self._anchor[:2]
        length = np.hypot(*way)
        elapsed = np.maximum(time - self._anchor[2], 1e-9)
        clear = self._hit & (length > 1.0) & ~self._still & (self._found >= 3)
        if np.count_nonzero(clear) >= _ENOUGH_MOVING:
            order = 1 if clear.sum() < 12 else 3 if clear.sum() < 40 else 6
            terms = self._terms((self.star - way / 2)[:, clear])[:, :order]
            wanted = (way / elapsed)[:, clear].T
            precision = elapsed[clear]
            motion = np.linalg.lstsq(terms * precision[:, None], wanted * precision[:, None], rcond=None)[0]
            motion[0] = np.median(wanted, axis=0) if order == 1 else motion[0]
            for _ in range(10):
                off = np.hypot(*(wanted - terms @ motion).T) * precision
                weight = precision / np.sqrt(1 + (off / _LOOSE) ** 2)
                motion = np.linalg.lstsq(terms * weight[:, None], wanted * weight[:, None], rcond=None)[0]
            if self._moving or self._explains(motion, way, elapsed):
                self._motion = np.zeros((6, 2))
                self._motion[:order] = motion
                self._moving = True
        far = self._hit & (length > _ANCHOR)
        self._anchor[:, far] = np.vstack([self.star[:, far], np.full(far.sum(), time)])

    def _explains(self, motion: Floats, way: Floats, elapsed: Floats) -> bool:
        """Whether nearly all points stood still or went as a motion says: the first fastest ones don't speak for all."""
        known = self._hit & (self._found >= 3)
        moved = (self._terms(self.star - way / 2)[:, : motion.shape[0]] @ motion).T * elapsed
        near = np.minimum(np.hypot(*way), np.hypot(*(way - moved)))[known] < _ALIKE
        return bool(near.mean() > _MOST_ALIKE)

    def _judge(self) -> None:
        """Note of the points found often enough what they are."""
        if self._moving:
            still = self._still
            for k in np.flatnonzero(self._apart & (self._found >= _ENOUGH)):
                self._kinds[int(self.number[k])] = Kind.LAMP if still[k] else Kind.STAR

    def _add(self, time: float, found: Floats) -> None:
        """Begin to follow the found points that are near none followed."""
        new = np.ones(found.shape[1], bool)
        if self.number.size:
            for places in (self.star, self.lamp):
                new &= _nearest(places, found)[0] > _NEW
        xy = found[:, new][:, : max(self._most - self.number.size, 0)]
        count = xy.shape[1]
        self.number = np.concatenate([self.number, self._count + np.arange(count)])
        self._count += count
        self.star, self.lamp = np.hstack([self.star, xy]), np.hstack([self.lamp, xy])
        self._anchor = np.hstack([self._anchor, np.vstack([xy, np.full(count, time)])])
        self._found = np.concatenate([self._found, np.ones(count)])
        self._last = np.concatenate([self._last, np.full(count, self._steps)])
        self._star_miss = np.concatenate([self._star_miss, np.zeros(count)])
        self._lamp_miss = np.concatenate([self._lamp_miss, np.zeros(count)])

    def _forget(self) -> None:
        """Drop the points that left the picture or were not found for long."""
        x, y = np.where(self._still, self.lamp, self.star)
        inside = (x > 0) & (y > 0) & (x < self._width) & (y < self._height)
        kept = inside & (self._steps - self._last < np.where(self._found < _ENOUGH, 6, _LOST_AFTER))
        self._drop(~kept)

    def _drop(self, lost: Bools) -> None:
        """Follow these points no longer."""
        kept = ~lost
        self.number, self._found, self._last = self.number[kept], self._found[kept], self._last[kept]
        self.star, self.lamp, self._anchor = self.star[:, kept], self.lamp[:, kept], self._anchor[:, kept]
        self._star_miss, self._lamp_miss = self._star_miss[kept], self._lamp_miss[kept]


def _nearest(places: Floats, wanted: Floats) -> tuple[Floats, Ints]:
    """Return how far the nearest of `places` (2, m) is from each of `wanted` (2, k), and its number, both (k,)."""
    off, number = cKDTree(places.T).query(wanted.T)
    return np.asarray(off, dtype=float), np.asarray(number, dtype=np.intp)
