"""The few icons of the transport row, drawn in the ink of the theme so that they are sharp at every scale."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QIcon, QPainter, QPainterPath, QPen, QPixmap

from lapsebench.gui.theme import Colours

_SIDE = 20
Draw = Callable[[QPainter], None]


def _arrow(left: float, *, flip: bool = False, width: float = 9.0) -> QPainterPath:
    path = QPainterPath(QPointF(left + width if flip else left, 4))
    path.lineTo(left if flip else left + width, 10)
    path.lineTo(left + width if flip else left, 16)
    path.closeSubpath()
    return path


def _play(p: QPainter) -> None:
    p.drawPath(_arrow(5, width=11))


def _pause(p: QPainter) -> None:
    p.drawRect(QRectF(5, 4, 3.5, 12))
    p.drawRect(QRectF(11.5, 4, 3.5, 12))


def _step_back(p: QPainter) -> None:
    p.drawPath(_arrow(3, flip=True))
    p.drawRect(QRectF(14, 4, 2.5, 12))


def _step_on(p: QPainter) -> None:
    p.drawRect(QRectF(3.5, 4, 2.5, 12))
    p.drawPath(_arrow(8))


def _loop(p: QPainter) -> None:
    p.setPen(QPen(p.brush().color(), 2))
    p.setBrush(Qt.BrushStyle.NoBrush)
    p.drawArc(QRectF(4, 4, 12, 12), 60 * 16, 290 * 16)
    p.drawLine(QPointF(13.2, 4.8), QPointF(13.4, 1.2))
    p.drawLine(QPointF(13.2, 4.8), QPointF(9.6, 4.6))


def _bracket(p: QPainter, *, opening: bool) -> None:
    p.setPen(QPen(p.brush().color(), 2))
    back, tip = (6.0, 12.0) if opening else (14.0, 8.0)
    for y in (4.0, 16.0):
        p.drawLine(QPointF(back, y), QPointF(tip, y))
    p.drawLine(QPointF(back, 4), QPointF(back, 16))


_DRAW: dict[str, Draw] = {
    "play": _play,
    "pause": _pause,
    "step back": _step_back,
    "step on": _step_on,
    "loop": _loop,
    "in": lambda p: _bracket(p, opening=True),
    "out": lambda p: _bracket(p, opening=False),
}


def icon(name: str, colours: Colours, ratio: float) -> QIcon:
    """Return an icon in the theme's ink; its checked state in the ink that stands on the accent."""
    result = QIcon()
    states = ((QIcon.State.Off, colours.ink), (QIcon.State.On, colours.on_accent))
    for state, ink in states:
        result.addPixmap(_pixmap(_DRAW[name], ink, ratio), QIcon.Mode.Normal, state)
    return result


def _pixmap(draw: Draw, ink: str, ratio: float) -> QPixmap:
    pixmap = QPixmap(round(_SIDE * ratio), round(_SIDE * ratio))
    pixmap.setDevicePixelRatio(ratio)
    pixmap.fill(Qt.GlobalColor.transparent)
    painter = QPainter(pixmap)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(QColor(ink))
    draw(painter)
    painter.end()
    return pixmap
