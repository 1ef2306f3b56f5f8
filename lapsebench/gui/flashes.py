"""What was found of flashes in a film just made: a message, and a window that leads to the frames and areas concerned."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QObject, QRectF, Qt, Signal
from PySide6.QtWidgets import QDialog, QDialogButtonBox, QLabel, QListWidget, QListWidgetItem, QVBoxLayout, QWidget

from lapsebench.core.flash import CAUTION, FlashFinding, FlashReport, Kind, Text, Verdict
from lapsebench.gui.parts import soft_label
from lapsebench.gui.problems import Message, MessageBar
from lapsebench.gui.session import Session
from lapsebench.services.film import FilmDone


class FlashWords(QObject):
    """The findings in words."""

    def summary(self, report: FlashReport) -> str:
        """Return the verdict in one sentence."""
        worst = max((peak.flashes_per_s for peak in report.peaks), default=0.0)
        if report.verdict is Verdict.FAILS:
            return self.tr("This film flashes too much: up to {0} flashes a second.").format(f"{worst:g}")
        if report.verdict is Verdict.WARNING:
            return self.tr("This film flashes for long: up to {0} flashes a second.").format(f"{worst:g}")
        return self.tr("Flashes: safe by WCAG 2.2 and BT.1702-3.")

    def advice(self) -> str:
        """Return what helps."""
        return self.tr(
            "It can trouble people with photosensitive epilepsy. What helps: a longer ramp, less of the sky's slow change, "
            "flicker taken out, lower contrast in the look, or a slower frame rate."
        )

    def line(self, finding: FlashFinding) -> str:
        """Return one finding in words."""
        what = {
            Kind.GENERAL: self.tr("light and dark"),
            Kind.RED_SATURATION: self.tr("red by its share"),
            Kind.RED_CHROMATICITY: self.tr("red by its colour"),
        }[finding.kind]
        where = self.tr("of the screen") if finding.text is Text.BT1702 else self.tr("of a field of 10°")
        words = self.tr("{0} to {1}, frames {7} to {8}: {2}, {3} flashes a second over {4} % {5} ({6})")
        span = self._clock(finding.start_s), self._clock(finding.end_s)
        frames = finding.first_frame + 1, finding.last_frame + 1
        rate = f"{finding.flashes_per_s:g}"
        return words.format(*span, what, rate, round(100 * finding.area), where, finding.text.value, *frames)

    def _clock(self, seconds: float) -> str:
        minutes, rest = divmod(seconds, 60)
        return f"{int(minutes)}:{rest:05.2f}"


class FlashWindow(QDialog):
    """The findings as a list; the chosen one is shown in the picture."""

    chosen = Signal(int)

    def __init__(self, report: FlashReport, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.setWindowTitle(self.tr("Flashes in the film"))
        words = FlashWords(self)
        self.verdict = QLabel(words.summary(report), self, wordWrap=True)
        self.list = QListWidget(self)
        self.list.setAccessibleName(self.tr("Passages that flash; choose one to see it"))
        self.list.setWordWrap(True)
        self.list.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        for finding in report.findings:
            self.list.addItem(QListWidgetItem(words.line(finding)))
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Close, self)
        buttons.rejected.connect(self.close)
        layout = QVBoxLayout(self)
        for widget in (self.verdict, self.list, soft_label(self, words.advice()), soft_label(self, CAUTION), buttons):
            layout.addWidget(widget)
        self.list.currentRowChanged.connect(self.chosen)
        self.resize(520, 420)


class FlashTeller(QObject):
    """Tells of the flashes of a finished film; `mark` shows an area of the film's frame in the picture, None none."""

    def __init__(
        self, session: Session, messages: MessageBar, mark: Callable[[QRectF | None], None], parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self._session, self._messages, self._mark = session, messages, mark
        self._words, self._said = FlashWords(self), Message("")
        self.window: FlashWindow | None = None

    def tell(self, done: FilmDone) -> None:
        """Say what was found, in place of what was said of the film before."""
        self._messages.withdraw(self._said)
        report = done.flash
        if report is None or not report.findings:
            return
        show = (self.tr("Show them"), lambda: self.show(done))
        self._said = Message(self._words.summary(report), self._words.advice(), "caution", buttons=(show,))
        self._messages.show_message(self._said)

    def show(self, done: FilmDone) -> None:
        """Open the list of a film's findings."""
        if done.flash is None:
            return
        parent = self.parent()
        self.window = window = FlashWindow(done.flash, parent if isinstance(parent, QWidget) else None)
        window.chosen.connect(lambda row: self._go(done, row))
        window.finished.connect(self._closed)
        window.show()
        window.list.setCurrentRow(0)

    def _closed(self) -> None:
        self.window = None
        self._mark(None)
        self._messages.show_message(self._said)  # the list can be opened again from there

    def _go(self, done: FilmDone, row: int) -> None:
        """Go to the frame with which a passage begins, and show where in the film's frame it is."""
        if done.flash is None or not 0 <= row < len(done.flash.findings):
            return
        finding = done.flash.findings[row]
        number = done.frames[min(finding.first_frame, len(done.frames) - 1)]
        if number < len(self._session.project.frames):
            self._session.move_to(number)
            x0, y0, x1, y1 = finding.box
            self._mark(QRectF(x0, y0, x1 - x0, y1 - y0))
