"""Section Frames: what was found, and the frames something is wrong with."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import QAbstractListModel, QModelIndex, QObject, QPersistentModelIndex, Qt
from PySide6.QtGui import QAction
from PySide6.QtWidgets import QListView, QStyle, QStyledItemDelegate, QStyleOptionViewItem, QWidget

from lapsebench.core.sequence import Fault
from lapsebench.gui.parts import push_button, single_choice, soft_label
from lapsebench.gui.sections.base import Section
from lapsebench.gui.session import Session
from lapsebench.gui.words import Words

_MOST_ROWS = 6
Index = QModelIndex | QPersistentModelIndex


class FaultModel(QAbstractListModel):
    """Frames with a fault or left out by hand, in order; checked ones are in the film."""

    def __init__(self, session: Session, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self.numbers: list[int] = []
        self.refresh()
        session.project_changed.connect(self.refresh)

    def refresh(self) -> None:
        """List the frames of the project as it is now."""
        project = self._session.project
        numbers = [i for i, frame in enumerate(project.frames) if frame.faults or i in project.left_out]
        if numbers != self.numbers:
            self.beginResetModel()
            self.numbers = numbers
            self.endResetModel()
        elif numbers:
            self.dataChanged.emit(self.index(0), self.index(len(numbers) - 1))

    def rowCount(self, parent: Index = QModelIndex(), /) -> int:  # noqa: B008
        """Return the number of listed frames."""
        return 0 if parent.isValid() else len(self.numbers)

    def flags(self, index: Index, /) -> Qt.ItemFlag:
        """Return that a frame can be chosen, and taken in unless it is unreadable."""
        if not index.isValid():
            return Qt.ItemFlag.NoItemFlags
        flags = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        readable = self._session.project.frames[self.numbers[index.row()]].readable
        return flags | Qt.ItemFlag.ItemIsUserCheckable if readable else flags

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole, /) -> Any:
        """Return the words or the check mark of a frame."""
        if not self.checkIndex(index, self.CheckIndexOption.IndexIsValid):
            return None
        number = self.numbers[index.row()]
        project = self._session.project
        if role in (Qt.ItemDataRole.DisplayRole, Qt.ItemDataRole.AccessibleTextRole):
            return self._text(number)
        if role == Qt.ItemDataRole.ToolTipRole:
            frame = project.frames[number]
            return f"{frame.path.name}\n{frame.problem}".strip()
        if role == Qt.ItemDataRole.CheckStateRole:
            return Qt.CheckState.Checked if project.keeps(number) else Qt.CheckState.Unchecked
        return None

    def setData(self, index: Index, _value: Any, role: int = Qt.ItemDataRole.EditRole, /) -> bool:
        """Take the frame in or leave it out."""
        if role != Qt.ItemDataRole.CheckStateRole or not self.flags(index) & Qt.ItemFlag.ItemIsUserCheckable:
            return False
        self._session.toggle_frame(self.numbers[index.row()])
        return True

    def _text(self, number: int) -> str:
        project = self._session.project
        frame = project.frames[number]
        words = [fault.value for fault in Fault if fault in frame.faults]
        if number in project.left_out:
            words.append(self.tr("left out by you"))
        shot = next((s for s in project.shots if number in s.frames), None)
        place = number - shot.first + 1 if shot else number + 1
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
        for widget in (self._found, self._notes, self.list, self.toggle):
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
        rows = len(self.model.numbers)
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
        if index.isValid() and index.row() < len(self.model.numbers):
            self._session.move_to(self.model.numbers[index.row()])
