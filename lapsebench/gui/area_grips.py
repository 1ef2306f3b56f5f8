"""What can be taken hold of on a metering area in the picture, and what a drag or an arrow key makes of the area."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import Enum, auto

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt

from lapsebench.core.area import MeteringArea, box_between, grown_box, moved_box, pulled, raised, skyline_at

POINTS = 8
"""Points of the skyline that can be dragged."""
REACH = 8.0
"""How near the pointer must be, pixels."""
_STEP, _LEAP = 0.01, 0.05  # shares of the picture that an arrow key moves by, without and with Shift
_SIDES = tuple((across, down) for down in (-1, 0, 1) for across in (-1, 0, 1) if (across, down) != (0, 0))


class Hold(Enum):
    """What is held."""

    POINT = auto()
    LINE = auto()
    SIDE = auto()
    MIDDLE = auto()
    INSIDE = auto()


@dataclass(frozen=True, slots=True)
class Grip:
    """What is held of the area: the `index` of a point of the skyline, or the `side` (across, down; -1, 0 or 1) of a box."""

    hold: Hold
    index: int = -1
    side: tuple[int, int] = (0, 0)

    @property
    def cursor(self) -> Qt.CursorShape:
        """The pointer over it."""
        if self.hold in (Hold.POINT, Hold.LINE) or self.side[0] == 0 != self.side[1]:
            return Qt.CursorShape.SizeVerCursor
        if self.hold is not Hold.SIDE:
            return Qt.CursorShape.SizeAllCursor
        if self.side[1] == 0:
            return Qt.CursorShape.SizeHorCursor
        falling = self.side[0] == self.side[1]
        return Qt.CursorShape.SizeFDiagCursor if falling else Qt.CursorShape.SizeBDiagCursor


def place(index: int) -> float:
    """Return where a point of the skyline stands, share of the width."""
    return (index + 0.5) / POINTS


def point_grips(area: MeteringArea, rect: QRectF) -> Iterator[tuple[Grip, QPointF]]:
    """Yield every point that can be dragged and where it is; `rect` is where the picture lies."""
    if area.by_horizon and area.horizon:
        heights = skyline_at(area.horizon, np.array([place(k) for k in range(POINTS)]))
        for k, height in enumerate(heights):
            yield Grip(Hold.POINT, k), _at(rect, place(k), float(height))
    elif area.by_box:
        x, y, width, height = area.box
        yield Grip(Hold.MIDDLE), _at(rect, x + width / 2, y + height / 2)
        for across, down in _SIDES:
            spot = _at(rect, x + width * (across + 1) / 2, y + height * (down + 1) / 2)
            yield Grip(Hold.SIDE, side=(across, down)), spot


def point_at(area: MeteringArea, rect: QRectF, pos: QPointF) -> Grip | None:
    """Return the nearest point in reach."""
    near = [(_far(spot, pos), k, grip) for k, (grip, spot) in enumerate(point_grips(area, rect))]
    far, _, grip = min(near, default=(REACH + 1, 0, None))
    return grip if far <= REACH else None


def body_at(area: MeteringArea, rect: QRectF, pos: QPointF, *, inside: bool) -> Grip | None:
    """Return the skyline or the box under a point; `inside`: whether all of the box can be taken hold of."""
    if area.by_horizon and area.horizon and rect.contains(pos):
        across = (pos.x() - rect.x()) / rect.width()
        line = rect.y() + float(skyline_at(area.horizon, np.array([across]))[0]) * rect.height()
        return Grip(Hold.LINE) if abs(pos.y() - line) <= REACH else None
    if area.by_box and inside and box_rect(area, rect).contains(pos):
        return Grip(Hold.INSIDE)
    return None


def box_rect(area: MeteringArea, rect: QRectF) -> QRectF:
    """Return where the box of the area lies."""
    x, y, width, height = area.box
    return QRectF(_at(rect, x, y), _at(rect, x + width, y + height))


def dragged(area: MeteringArea, grip: Grip, across: float, down: float) -> MeteringArea:
    """Return the area after a drag by shares of the picture."""
    if grip.hold is Hold.POINT:
        return replace(area, horizon=pulled(area.horizon, place(grip.index), down, 1 / POINTS))
    if grip.hold is Hold.LINE:
        return replace(area, horizon=raised(area.horizon, down))
    x, y, width, height = area.box
    if grip.hold is not Hold.SIDE:
        return replace(area, box=moved_box(area.box, across, down))
    first, second = [x, y], [x + width, y + height]
    for axis, by in enumerate((across, down)):
        if grip.side[axis]:
            (first if grip.side[axis] < 0 else second)[axis] += by
    return replace(area, box=box_between((first[0], first[1]), (second[0], second[1])))


def keyed(area: MeteringArea, chosen: int, key: int, *, shift: bool) -> tuple[MeteringArea, int] | None:
    """Return area and chosen point of the skyline (-1: all of it) after an arrow key; None for a key that does nothing."""
    arrow = {
        Qt.Key.Key_Left: (-1, 0),
        Qt.Key.Key_Right: (1, 0),
        Qt.Key.Key_Up: (0, -1),
        Qt.Key.Key_Down: (0, 1),
    }.get(Qt.Key(key))
    if arrow is None or not (area.by_box or area.horizon):
        return None
    across, down = arrow
    if area.by_horizon:
        if across:
            return area, min(max(chosen + across, -1), POINTS - 1)
        grip = Grip(Hold.LINE) if chosen < 0 else Grip(Hold.POINT, chosen)
        return dragged(area, grip, 0, down * (_LEAP if shift else _STEP)), chosen
    if shift:
        return replace(area, box=grown_box(area.box, across * _STEP, -down * _STEP)), chosen
    return replace(area, box=moved_box(area.box, across * _STEP, down * _STEP)), chosen


def _at(rect: QRectF, across: float, down: float) -> QPointF:
    return QPointF(rect.x() + across * rect.width(), rect.y() + down * rect.height())


def _far(one: QPointF, other: QPointF) -> float:
    away = one - other
    return float(max(abs(away.x()), abs(away.y())))
