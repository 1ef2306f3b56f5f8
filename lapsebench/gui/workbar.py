"""The bottom bar: what is being done, how far it is, how long it still takes, and Cancel."""

from __future__ import annotations

import time

from PySide6.QtCore import QObject, Qt
from PySide6.QtWidgets import QHBoxLayout, QLabel, QProgressBar, QVBoxLayout, QWidget

from lapsebench.core.progress import Pace
from lapsebench.gui.jobs import Job
from lapsebench.gui.parts import push_button
from lapsebench.gui.words import Words


class WorkRow(QWidget):
    """One running job."""

    def __init__(self, job: Job, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.job = job
        self._words = Words(self)
        self._title = QLabel(self)
        self._bar = QProgressBar(self, textVisible=False)
        self._numbers = QLabel(self)
        self._numbers.setMinimumWidth(260)
        self._cancel = push_button(self.tr("Cancel"), self)
        self._cancel.clicked.connect(self.cancel)
        layout = QHBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self._title)
        layout.addWidget(self._bar, 1)
        layout.addWidget(self._numbers)
        layout.addWidget(self._cancel)
        job.progress.connect(self.show_progress)
        job.stage_changed.connect(self._begin)
        self._begin(job.title)

    def show_progress(self, done: int, total: int) -> None:
        """Show `done` of `total` frames, the rate and the time left."""
        left = self._pace.update(done, total, time.monotonic())
        self._bar.setMaximum(total)
        self._bar.setValue(done)
        parts = [self.tr("{0} of {1}").format(done, total)]
        if done >= total > 0:
            parts.append(self.tr("finishing…"))
        elif self._pace.rate is not None:
            parts.append(self.tr("{0} frames/s").format(f"{self._pace.rate:.1f}"))
        if left is not None and done < total:
            parts.append(self._words.left(left))
        self._numbers.setText(" · ".join(parts))

    def _begin(self, title: str) -> None:
        """Show a stage of the job, of which nothing is done yet."""
        self._pace = Pace(time.monotonic())
        self._title.setText(title)
        self._bar.setMaximum(0)
        self._bar.setAccessibleName(title)
        if self._cancel.isEnabled():
            self._numbers.clear()
        self._cancel.setAccessibleName(self.tr("Cancel: {0}").format(title))

    def cancel(self) -> None:
        """Stop the job; the row goes when it has stopped."""
        self._cancel.setEnabled(False)
        self._numbers.setText(self.tr("stopping…"))
        self.job.cancel()


class WorkBar(QWidget):
    """All running jobs, or one quiet line when there are none."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName(self.tr("Work going on"))
        self._rows: dict[QObject, WorkRow] = {}
        self._idle = QLabel(self, textFormat=Qt.TextFormat.PlainText)
        self._idle.setMinimumHeight(28)
        self._layout = QVBoxLayout(self)
        self._layout.setContentsMargins(10, 2, 10, 2)
        self._layout.setSpacing(2)
        self._layout.addWidget(self._idle)
        self.show_idle(self.tr("Ready"))

    @property
    def rows(self) -> list[WorkRow]:
        """The rows of the jobs running now."""
        return list(self._rows.values())

    def show_idle(self, text: str) -> None:
        """Set the line shown while nothing runs."""
        self._idle.setText(text)

    def follow(self, job: Job) -> None:
        """Show a job until it ends."""
        row = WorkRow(job, self)
        self._rows[job] = row
        self._layout.addWidget(row)
        self._idle.hide()
        job.ended.connect(self._drop)

    def _drop(self, job: Job) -> None:
        row = self._rows.pop(job, None)
        if row is not None:
            row.hide()
            self._layout.removeWidget(row)
            row.deleteLater()
        self._idle.setVisible(not self._rows)
