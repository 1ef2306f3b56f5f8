"""Which part of a shot's pictures the film shows: where it aims at the start and at the end, and how far it is straightened.

Between the two the aim moves as cosine easing says (still at both ends). Its size changes by equal ratios in equal eased
time, and its middle with its size, so that a zoom has one point that stays where it is.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import cos, exp, isfinite, log, pi, radians, sin

MOST_TURN_DEG = 15.0
LEAST_SCALE = 0.1
_SAME = 1e-6  # of the scale


@dataclass(frozen=True, slots=True)
class Aim:
    """A part of a picture: its middle in shares 0..1 of width and height, and its `scale`, 1 = the largest that fits."""

    x: float = 0.5
    y: float = 0.5
    scale: float = 1.0

    def __post_init__(self) -> None:
        if not (isfinite(self.x + self.y) and 0 <= self.x <= 1 and 0 <= self.y <= 1 and LEAST_SCALE <= self.scale <= 1):
            raise ValueError("an aim is out of its range")


@dataclass(frozen=True, slots=True)
class View:
    """What a shot shows: its `start`, its `end` where it moves, and `turn_deg`, by which the picture is turned clockwise."""

    start: Aim = field(default_factory=Aim)
    end: Aim | None = None
    turn_deg: float = 0.0

    def __post_init__(self) -> None:
        if not abs(self.turn_deg) <= MOST_TURN_DEG:
            raise ValueError("a picture is turned too far")

    @property
    def is_plain(self) -> bool:
        """Whether all that fits is shown, unturned."""
        return self == View()

    def at(self, share: float) -> Aim:
        """Return the aim at a share 0..1 of the shot's film time."""
        if self.end is None or self.end == self.start:
            return self.start
        first, last = self.start, self.end
        eased = (1 - cos(pi * min(max(share, 0.0), 1.0))) / 2
        if abs(first.scale - last.scale) < _SAME:
            scale, moved = first.scale, eased
        else:
            scale = exp(log(first.scale) + eased * log(last.scale / first.scale))
            moved = min(max((scale - first.scale) / (last.scale - first.scale), 0.0), 1.0)
        scale = min(max(scale, LEAST_SCALE), 1.0)
        return Aim(first.x + moved * (last.x - first.x), first.y + moved * (last.y - first.y), scale)


@dataclass(frozen=True, slots=True)
class Patch:
    """A turned rectangle of a picture, in its pixels: middle (`x`, `y`), `width`, `height`, and how far it is turned.

    `turn_deg`: the picture within it turns clockwise by that when it is shown upright.
    """

    x: float
    y: float
    width: float
    height: float
    turn_deg: float = 0.0

    @property
    def size(self) -> tuple[float, float]:
        """Width and height, px."""
        return self.width, self.height

    @property
    def reach(self) -> tuple[float, float]:
        """How far it reaches from its middle across and down, px."""
        a = abs(radians(self.turn_deg))
        return (self.width * cos(a) + self.height * sin(a)) / 2, (self.width * sin(a) + self.height * cos(a)) / 2


def patch_of(aim: Aim, source: tuple[int, int], ratio: float, turn_deg: float = 0.0) -> Patch:
    """Return the part of a picture of `source` = (width, height) px that an aim shows, moved so that it lies within.

    `ratio`: the film's width over its height.
    """
    across, down = source
    largest = largest_width(source, ratio, turn_deg)
    patch = Patch(aim.x * across, aim.y * down, aim.scale * largest, aim.scale * largest / ratio, turn_deg)
    reach_x, reach_y = patch.reach
    return replace(patch, x=min(max(patch.x, reach_x), across - reach_x), y=min(max(patch.y, reach_y), down - reach_y))


def largest_width(source: tuple[int, int], ratio: float, turn_deg: float = 0.0) -> float:
    """Return the width of the largest rectangle of a ratio that lies within a picture, px, turned by some degrees."""
    a = abs(radians(turn_deg))
    return min(source[0] / (cos(a) + sin(a) / ratio), source[1] / (sin(a) + cos(a) / ratio))
