"""The line under the night strip that says all about one frame."""

from __future__ import annotations

from math import isfinite

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from lapsebench.core.exposure import shutter_text
from lapsebench.core.sequence import Fault, Frame
from lapsebench.gui.strip_axes import MINUS
from lapsebench.gui.strip_model import StripModel
from lapsebench.gui.words import margin

_LEAST_NAME = 14  # letters of usual width that are left of a file's name


def signed(ev: float) -> str:
    """Return tenth stops with their sign."""
    return f"{ev:+.1f}".replace("-", MINUS) if abs(ev) >= 0.05 else "0.0"


def plain(ev: float) -> str:
    """Return tenth stops with a true minus sign."""
    return f"{ev:.1f}".replace("-", MINUS)


def setting_text(frame: Frame) -> str:
    """Return shutter, aperture and ISO as far as they are known."""
    parts = [
        shutter_text(frame.exposure_s) if frame.exposure_s else "",
        f"f/{frame.f_number:g}" if frame.f_number else "",
        f"ISO {frame.iso:g}" if frame.iso else "",
    ]
    return "  ".join(part for part in parts if part)


class StripReadout(QWidget):
    """One line of text, shortened where it is too long."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._text = self._name = ""
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)

    @property
    def text(self) -> str:
        """The whole line, not elided."""
        return self._text

    def show_frame(self, model: StripModel | None, index: int | None) -> None:
        """Say what is known of the frame at a place in the shot."""
        text = "" if model is None or index is None else self.describe(model, index)
        if text != self._text:
            self._text, self._name = text, "" if model is None or index is None else model.frames[index].name
            self.setAccessibleName(text)
            self.setToolTip(text)
            self.update()

    def fitting(self, width: int) -> str:
        """Return the line as it is shown on `width` px: where it is too long the gaps and the file's name give way first."""
        metrics = self.fontMetrics()
        text, name = self._text, self._name
        if metrics.horizontalAdvance(text) > width:
            text, name = text.replace("  ", " "), name.replace("  ", " ")
        over = metrics.horizontalAdvance(text) - width
        if over > 0:
            room = max(metrics.horizontalAdvance(name) - over, metrics.averageCharWidth() * _LEAST_NAME)
            text = text.replace(name, metrics.elidedText(name, Qt.TextElideMode.ElideMiddle, room), 1)
        fits = metrics.horizontalAdvance(text) <= width  # eliding rounds the other way and takes what just fits
        return text if fits else metrics.elidedText(text, Qt.TextElideMode.ElideRight, width)

    def describe(self, model: StripModel, index: int) -> str:
        """Return number, file, clock, setting, light, gain and faults of a frame; what is not known is left out."""
        frame = model.frames[index]
        number = self.tr("{0} of {1}").format(index + 1, model.count)
        parts = [number, frame.name, f"{frame.taken:%H:%M:%S}" if frame.taken else "", setting_text(frame)]
        used = bool(model.used[index])
        luminance, film, gain, error = (float(v[index]) for v in (model.luminance, model.film, model.gain, model.error))
        parts.append(self.tr("left out") if not used else "")
        parts.extend(self.fault_text(f) for f in Fault if f in frame.faults)
        sure = self.tr("{0} stop").format(margin(error)) if isfinite(error) else ""
        parts.append(self.tr("gain {0}").format(f"{signed(gain)} {sure}".strip()) if used and isfinite(gain) else "")
        parts.append(self.tr("exposure {0}").format(sure) if sure and not used else "")
        parts.append(self.tr("luminance {0}").format(plain(luminance)) if isfinite(luminance) else "")
        parts.append(self.tr("film light {0}").format(plain(film)) if used and isfinite(film) else "")
        return "  ·  ".join(part for part in parts if part)

    def fault_text(self, fault: Fault) -> str:
        """Return the name of a fault in the language of the window."""
        return {
            Fault.UNREADABLE: self.tr("unreadable"),
            Fault.STRAY_LIGHT: self.tr("stray light"),
            Fault.BUMPED: self.tr("bumped"),
            Fault.BLOWN: self.tr("blown"),
            Fault.BLACK: self.tr("black"),
            Fault.GAP: self.tr("gap"),
            Fault.DUPLICATE: self.tr("duplicate"),
            Fault.ODD_SIZE: self.tr("odd size"),
            Fault.METADATA: self.tr("metadata disagrees"),
            Fault.UNCERTAIN: self.tr("exposure uncertain"),
        }.get(fault, fault.value)

    def sizeHint(self) -> QSize:
        """Return the height of one line."""
        return QSize(200, self.fontMetrics().height() + 4)

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Draw the line, shortened where it does not fit."""
        painter = QPainter(self)
        box = self.rect().adjusted(8, 0, -8, 0)
        painter.setPen(self.palette().windowText().color())
        painter.drawText(box, Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter, self.fitting(box.width()))
        painter.end()
