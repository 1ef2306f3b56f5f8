"""What can be taken hold of on the film's frame in the picture, and what a drag or a key makes of it."""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, radians, sin

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QPolygonF

from lapsebench.core.view import LEAST_SCALE, Aim, Patch, patch_of

REACH = 9.0
"""How near the pointer must be, pixels."""
_STEP, _LEAP = 0.01, 0.05  # shares of the picture that an arrow key moves by, without and with Shift
_GROWTH = 1.02  # by which plus and minus scale
_CORNERS = ((-1, -1), (1, -1), (1, 1), (-1, 1))
_ARROWS = {Qt.Key.Key_Left: (-1, 0), Qt.Key.Key_Right: (1, 0), Qt.Key.Key_Up: (0, -1), Qt.Key.Key_Down: (0, 1)}
_SCALES = {Qt.Key.Key_Plus: _GROWTH, Qt.Key.Key_Equal: _GROWTH, Qt.Key.Key_Minus: 1 / _GROWTH}
_PLACES = 6  # decimals of an aim

Grip = tuple[int, int]
"""A corner (across, down; -1 or 1 each), or (0, 0): all of the frame."""
WHOLE: Grip = (0, 0)


@dataclass(frozen=True, slots=True)
class Ground:
    """What a frame lies on: a picture of `source` pixels, the film's width over its height, the degrees of straightening."""

    source: tuple[int, int]
    ratio: float
    turn_deg: float

    def patch(self, aim: Aim) -> Patch:
        """Return the part of the picture that an aim shows."""
        return patch_of(aim, self.source, self.ratio, self.turn_deg)

    def outline(self, aim: Aim) -> QPolygonF:
        """Return the corners of what an aim shows, in shares 0..1 of the picture."""
        return outline(self.patch(aim), self.source)

    def aim(self, x: float, y: float, scale: float) -> Aim:
        """Return the aim nearest to a middle, px, and scale whose frame lies within the picture."""
        across, down = self.source
        scale = min(max(scale, LEAST_SCALE), 1.0)
        patch = self.patch(Aim(min(max(x / across, 0.0), 1.0), min(max(y / down, 0.0), 1.0), scale))
        return Aim(round(patch.x / across, _PLACES), round(patch.y / down, _PLACES), round(scale, _PLACES))


def outline(patch: Patch, source: tuple[int, int]) -> QPolygonF:
    """Return the corners of a patch, clockwise from its top left, in shares 0..1 of a picture of `source` pixels."""
    points = [_from_middle(patch, across * patch.width / 2, down * patch.height / 2) for across, down in _CORNERS]
    return QPolygonF([QPointF(x / source[0], y / source[1]) for x, y in points])


def on_rect(shares: QPolygonF, rect: QRectF) -> QPolygonF:
    """Return where a polygon lies on a picture that lies at `rect`."""
    return QPolygonF([QPointF(rect.x() + p.x() * rect.width(), rect.y() + p.y() * rect.height()) for p in shares.toList()])


def middle_of(corners: QPolygonF) -> QPointF:
    """Return the middle of a frame."""
    return (corners.at(0) + corners.at(2)) / 2


def grip_at(corners: QPolygonF, pos: QPointF, *, inside: bool) -> Grip | None:
    """Return what is under a point, where the frame has its `corners`; `inside`: whether all of it can be taken hold of."""
    spots = [*zip(_CORNERS, corners.toList(), strict=True), (WHOLE, middle_of(corners))]
    far, grip = min((_far(spot, pos), grip) for grip, spot in spots)
    if far <= REACH:
        return grip
    return WHOLE if inside and corners.containsPoint(pos, Qt.FillRule.OddEvenFill) else None


def cursor_of(grip: Grip) -> Qt.CursorShape:
    """Return the pointer over a grip."""
    if grip == WHOLE:
        return Qt.CursorShape.SizeAllCursor
    return Qt.CursorShape.SizeFDiagCursor if grip[0] == grip[1] else Qt.CursorShape.SizeBDiagCursor


def dragged(aim: Aim, ground: Ground, grip: Grip, across: float, down: float) -> Aim:
    """Return the aim after a drag by shares of the picture: a corner scales the frame about the one opposite."""
    patch, dx, dy = ground.patch(aim), across * ground.source[0], down * ground.source[1]
    if grip == WHOLE:
        return ground.aim(patch.x + dx, patch.y + dy, aim.scale)
    a = radians(patch.turn_deg)
    wide, high = grip[0] * patch.width, grip[1] * patch.height  # from the opposite corner to this one, as seen upright
    along = (dx * cos(a) - dy * sin(a)) * wide + (dx * sin(a) + dy * cos(a)) * high
    scale = min(max(aim.scale * (1 + along / (wide**2 + high**2)), LEAST_SCALE), 1.0)
    grown = scale / aim.scale - 1
    x, y = _from_middle(patch, wide / 2 * grown, high / 2 * grown)
    return ground.aim(x, y, scale)


def keyed(aim: Aim, ground: Ground, key: int, *, shift: bool) -> Aim | None:
    """Return the aim after a key; None for a key that does nothing."""
    if key in _ARROWS:
        across, down = _ARROWS[Qt.Key(key)]
        step = _LEAP if shift else _STEP
        return dragged(aim, ground, WHOLE, across * step, down * step)
    if key in _SCALES:
        patch = ground.patch(aim)
        return ground.aim(patch.x, patch.y, aim.scale * _SCALES[Qt.Key(key)])
    return None


def _from_middle(patch: Patch, across: float, down: float) -> tuple[float, float]:
    """Return where in the picture a point lies that is px away from the patch's middle as seen upright."""
    a = radians(patch.turn_deg)
    return patch.x + across * cos(a) + down * sin(a), patch.y + down * cos(a) - across * sin(a)


def _far(one: QPointF, other: QPointF) -> float:
    away = one - other
    return float(max(abs(away.x()), abs(away.y())))
