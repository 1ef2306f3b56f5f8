"""Section Frames: what was found, and the frames something is wrong with."""

from __future__ import annotations

from typing import Any

import numpy as np
from PySide6.QtCore import QAbstractListModel, QModelIndex, QObject, QPersistentModelIndex, Qt
from PySide6.QtGui import QAction
from PySide6.QtWidgets import QListView, QStyle, QStyledItemDelegate, QStyleOptionViewItem, QWidget

from lapsebench.core.project import Project
from lapsebench.core.sequence import SPOILT, Fault
from lapsebench.gui.parts import push_button, single_choice, soft_label
from lapsebench.gui.sections.base import Section
from lapsebench.gui.sections.clocks import ClocksBox
from lapsebench.gui.session import Session
from lapsebench.gui.words import Words, margin

_MOST_ROWS = 6
_NEAR = 6  # frames: those closer than this may share a row
Index = QModelIndex | QPersistentModelIndex


def fault_rows(project: Project) -> list[tuple[int, ...]]:
    """Return the frames with a fault or left out by hand, in order: one a row.

    Those near each other with the same fault that spoils nothing, and is all that is known of them, share a row.
    """
    rows: list[list[int]] = []
    starts = {shot.first for shot in project.shots}
    for i, frame in enumerate(project.frames):
        if not (frame.faults or i in project.left_out):
            continue
        last = rows[-1][-1] if rows else -_NEAR
        before = project.frames[max(last, 0)]
        alike = frame.faults == before.faults and (i in project.left_out) == (last in project.left_out)
        plain = frame.faults and not frame.faults & SPOILT and not (frame.problem or before.problem)
        if i - last < _NEAR and alike and plain and starts.isdisjoint(range(last + 1, i + 1)):
            rows[-1].append(i)
        else:
            rows.append([i])
    return [tuple(row) for row in rows]


class FaultModel(QAbstractListModel):
    """The frames of `fault_rows`; checked ones are in the film."""

    def __init__(self, session: Session, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._session, self._words = session, Words(self)
        self.rows: list[tuple[int, ...]] = []
        self.refresh()
        session.project_changed.connect(self.refresh)
        session.surveyed.connect(self.refresh)

    def refresh(self) -> None:
        """List the frames of the project as it is now."""
        rows = fault_rows(self._session.project)
        if rows != self.rows:
            self.beginResetModel()
            self.rows = rows
            self.endResetModel()
        elif rows:
            self.dataChanged.emit(self.index(0), self.index(len(rows) - 1))

    def rowCount(self, parent: Index = QModelIndex(), /) -> int:  # noqa: B008
        """Return the number of rows."""
        return 0 if parent.isValid() else len(self.rows)

    def flags(self, index: Index, /) -> Qt.ItemFlag:
        """Return that a frame can be chosen, and taken in unless it is unreadable."""
        if not index.isValid():
            return Qt.ItemFlag.NoItemFlags
        flags = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        readable = self._session.project.frames[self.rows[index.row()][0]].readable
        return flags | Qt.ItemFlag.ItemIsUserCheckable if readable else flags

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole, /) -> Any:
        """Return the words or the check mark of a row."""
        if not self.checkIndex(index, self.CheckIndexOption.IndexIsValid):
            return None
        row = self.rows[index.row()]
        if role in (Qt.ItemDataRole.DisplayRole, Qt.ItemDataRole.AccessibleTextRole):
            return self._text(row)
        if role == Qt.ItemDataRole.ToolTipRole:
            return self._hint(row)
        if role == Qt.ItemDataRole.CheckStateRole:
            return Qt.CheckState.Checked if self._session.project.keeps(row[0]) else Qt.CheckState.Unchecked
        return None

    def setData(self, index: Index, _value: Any, role: int = Qt.ItemDataRole.EditRole, /) -> bool:
        """Take the frames of a row in or leave them out."""
        if role != Qt.ItemDataRole.CheckStateRole or not self.flags(index) & Qt.ItemFlag.ItemIsUserCheckable:
            return False
        row = self.rows[index.row()]
        if len(row) > 1:
            self._session.toggle_frames(row)
        else:
            self._session.toggle_frame(row[0])
        return True

    def _hint(self, row: tuple[int, ...]) -> str:
        """Return the files of a row, and what there is to be known of them."""
        frames = self._session.project.frames
        names = [frames[i].name for i in row]
        files = names[0] if len(row) == 1 else self.tr("{0} frames, {1} to {2}").format(len(row), names[0], names[-1])
        error = self._error(row)
        unsure = "" if error is None else self._words.uncertain(error)
        return "\n".join(part for part in (files, frames[row[0]].problem, unsure) if part)

    def _error(self, row: tuple[int, ...]) -> float | None:
        """Return the greatest standard error of a row whose exposure is uncertain, stops; None of others."""
        survey, frame = self._session.survey, self._session.project.frames[row[0]]
        if survey is None or Fault.UNCERTAIN not in frame.faults:
            return None
        return float(np.max(survey.light.error_ev[list(row)]))

    def _text(self, row: tuple[int, ...]) -> str:
        project, number = self._session.project, row[0]
        frame = project.frames[number]
        words = [fault.value for fault in Fault if fault in frame.faults]
        error = self._error(row)
        if error is not None:
            words[-1] += " " + self.tr("{0} stop").format(margin(error))
        if number in project.left_out:
            words.append(self.tr("left out by you"))
        shot = next((s for s in project.shots if number in s.frames), None)
        first = shot.first if shot else 0
        place = f"{number - first + 1}" if len(row) == 1 else f"{number - first + 1}–{row[-1] - first + 1}"
        line = f"{place}   {', '.join(words)}"
        return f"{line}: {frame.problem.removeprefix(frame.path.name).strip()}" if frame.problem else line


class FaultRows(QStyledItemDelegate):
    """Draws the rows; the check of a frame that can't be taken in is dimmed."""

    def initStyleOption(self, option: QStyleOptionViewItem, index: Index, /) -> None:
        """Dim what can't be checked."""
        super().initStyleOption(option, index)
        if not index.flags() & Qt.ItemFlag.ItemIsUserCheckable:
            option.state &= ~QStyle.StateFlag.State_Enabled


class FramesSection(Section):
    """What was gathered, the notes on it, and the list of faults."""

    def __init__(self, session: Session, toggle_action: QAction, parent: QWidget | None = None) -> None:
        super().__init__("", "frames", parent)
        self.title = self.tr("Frames")
        self.header.setText(self.title)
        self.header.setAccessibleName(self.title)
        self._session, self._words = session, Words(self)
        self._found, self._notes = soft_label(self), soft_label(self)
        self.model = FaultModel(session, self)
        self.list = QListView(self, uniformItemSizes=True)
        self.list.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.list.setModel(self.model)
        self.delegate = FaultRows(self.list)
        self.list.setItemDelegate(self.delegate)
        single_choice(self.list, self.tr("Frames with a fault; check to take one into the film"))
        self.toggle = push_button(self.tr("Leave this frame out"), self)
        self.toggle.clicked.connect(toggle_action.trigger)
        self.clocks = ClocksBox(session, self)
        for widget in (self._found, self._notes, self.list, self.toggle, self.clocks):
            self.content.addWidget(widget)
        self.list.selectionModel().currentChanged.connect(self._jump)
        self.list.clicked.connect(self._jump)
        session.project_changed.connect(self.refresh)
        session.surveyed.connect(self.refresh)
        session.playhead_changed.connect(self._name_toggle)
        self.refresh()

    def refresh(self) -> None:
        """Show what the project holds now."""
        project = self._session.project
        out = sum(not project.keeps(i) for i in range(len(project.frames)))
        self._found.setText(self._what_was_found())
        self._notes.setText("\n".join(self._session.notes))
        self._notes.setVisible(bool(self._session.notes))
        rows = len(self.model.rows)
        self.list.setVisible(rows > 0)
        self.list.setFixedHeight(10 + max(self.list.sizeHintForRow(0), 20) * min(max(rows, 1), _MOST_ROWS))
        count = self._words.frames(len(project.frames))
        self.summarise(self.tr("{0}, {1} left out").format(count, out) if out else count)
        self._name_toggle()

    def _what_was_found(self) -> str:
        project = self._session.project
        cameras = sorted({frame.camera for frame in project.frames if frame.camera})
        sizes = sorted({f"{frame.width} × {frame.height}" for frame in project.frames if frame.width})
        shots = len(project.shots)
        counts = [
            self._words.frames(len(project.frames)),
            self.tr("1 shot") if shots == 1 else self.tr("{0} shots").format(shots),
        ]
        return "\n".join([", ".join(counts), *cameras, *sizes])

    def _name_toggle(self) -> None:
        project, number = self._session.project, self._session.playhead
        frame = self._session.frame
        taken = frame is not None and project.keeps(number)
        self.toggle.setEnabled(frame is not None and frame.readable)
        self.toggle.setToolTip("" if frame is None or frame.readable else frame.problem)
        self.toggle.setText(self.tr("Leave this frame out") if taken else self.tr("Take this frame in"))

    def _jump(self, index: QModelIndex) -> None:
        if index.isValid() and index.row() < len(self.model.rows):
            self._session.move_to(self.model.rows[index.row()][0])
