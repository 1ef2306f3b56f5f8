"""The window of waiting films: what is in line, what is being made, and the buttons that change it."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import QAbstractListModel, QEvent, QItemSelectionModel, QModelIndex, QObject, QPersistentModelIndex, Qt
from PySide6.QtGui import QKeyEvent, QShowEvent
from PySide6.QtWidgets import QDialog, QGridLayout, QHBoxLayout, QListView, QProgressBar, QPushButton, QVBoxLayout, QWidget

from lapsebench.gui.parts import push_button, single_choice, soft_label
from lapsebench.gui.queue import FilmLine
from lapsebench.gui.words import Words
from lapsebench.io.queuefile import Entry

Index = QModelIndex | QPersistentModelIndex


class LineModel(QAbstractListModel):
    """The films in line: name, what each comes to, and how it stands."""

    def __init__(self, line: FilmLine, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._line, self._words = line, Words(self)
        self._rows = line.entries
        line.changed.connect(self._changed)

    def rowCount(self, parent: Index = QModelIndex(), /) -> int:  # noqa: B008
        """Return the number of films."""
        return 0 if parent.isValid() else len(self._rows)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole, /) -> Any:
        """Return the words of a film."""
        if not self.checkIndex(index, self.CheckIndexOption.IndexIsValid):
            return None
        entry = self._rows[index.row()]
        if role == Qt.ItemDataRole.DisplayRole:
            return "\n".join(self._lines(entry))
        if role == Qt.ItemDataRole.AccessibleTextRole:
            return " · ".join(self._lines(entry))
        if role == Qt.ItemDataRole.ToolTipRole:
            return str(entry.output)
        return None

    def entry(self, row: int) -> Entry | None:
        """Return the film of a row."""
        return self._rows[row] if 0 <= row < len(self._rows) else None

    def row_of(self, key: str) -> int:
        """Return the row of a film, -1 where it is not in line any more."""
        return next((row for row, entry in enumerate(self._rows) if entry.key == key), -1)

    def _lines(self, entry: Entry) -> list[str]:
        facts = (
            self._words.frames(entry.frames),
            "{} × {}".format(*entry.size),
            entry.form.facts.codec,
        )
        return [entry.title, " · ".join(facts), self._state(entry)]

    def _state(self, entry: Entry) -> str:
        if entry.key == self._line.working:
            return self.tr("being made")
        if entry.failed:
            return self.tr("could not be made")
        return self.tr("being made by another window") if self._line.elsewhere(entry) else self.tr("waiting")

    def _changed(self) -> None:
        self.beginResetModel()
        self._rows = self._line.entries
        self.endResetModel()


class LineView(QListView):
    """The list; Delete takes the chosen film out."""

    def __init__(self, window: QueueWindow) -> None:
        super().__init__(window)
        self._window = window
        single_choice(self, self.tr("Films in line"))
        self.setWordWrap(True)
        self.setResizeMode(QListView.ResizeMode.Adjust)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)

    def keyPressEvent(self, event: QKeyEvent, /) -> None:
        """Take Delete."""
        if event.key() == Qt.Key.Key_Delete:
            self._window.remove.click()
        else:
            super().keyPressEvent(event)


class QueueWindow(QDialog):
    """Not modal: films can be put in line, and work goes on, while it is open."""

    def __init__(self, line: FilmLine, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle(self.tr("Films waiting"))
        self._line = line
        self._key = ""
        self.model = LineModel(line, self)
        self.view = LineView(self)
        self.view.setModel(self.model)
        self.empty = soft_label(
            self,
            self.tr("No film is waiting.\n\n“Wait in line”, beside “Make the film”, puts a film here as it is set then."),
        )
        self.empty.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.bar = QProgressBar(self, textVisible=False)
        self.bar.setAccessibleName(self.tr("Progress of the film being made"))
        self.told = soft_label(self)
        self.told.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.start = self._button(self.tr("Start all"), line.start)
        self.pause = self._button(self.tr("Pause after this one"), line.pause)
        self.up = self._button(self.tr("Up"), lambda: line.move(self._key, -1), self.tr("Move up in line"))
        self.down = self._button(self.tr("Down"), lambda: line.move(self._key, 1), self.tr("Move down in line"))
        self.again = self._button(self.tr("Try again"), self._again)
        spoken = self.tr("Try again, and replace what is there")
        self.replace = self._button(self.tr("Replace it"), lambda: self._again(overwrite=True), spoken)
        self.remove = self._button(self.tr("Remove"), lambda: line.remove(self._key), self.tr("Take out of the line"))
        self.shut = self._button(self.tr("Close"), self.close)
        self._lay_out()
        line.changed.connect(self._show)
        line.progressed.connect(self._show_progress)
        self.view.selectionModel().currentChanged.connect(self._choose)
        self._show()
        self.resize(560, 420)

    def showEvent(self, event: QShowEvent, /) -> None:
        """Let the list have the keys."""
        super().showEvent(event)
        self.view.setFocus()

    def changeEvent(self, event: QEvent, /) -> None:
        """Look again at what waits when the user comes to this window: others have the same line."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.ActivationChange and self.isActiveWindow():
            self._line.refresh()

    def _lay_out(self) -> None:
        side = QVBoxLayout()
        for button in (self.up, self.down, self.again, self.replace, self.remove):
            side.addWidget(button)
        side.addStretch(1)
        foot = QHBoxLayout()
        foot.addWidget(self.start)
        foot.addWidget(self.pause)
        foot.addStretch(1)
        foot.addWidget(self.shut)
        layout = QGridLayout(self)
        layout.setColumnStretch(0, 1)
        layout.setRowStretch(0, 1)
        layout.addWidget(self.view, 0, 0)
        layout.addWidget(self.empty, 0, 0)
        layout.addLayout(side, 0, 1)
        layout.addWidget(self.told, 1, 0, 1, 2)
        layout.addWidget(self.bar, 2, 0, 1, 2)
        layout.addLayout(foot, 3, 0, 1, 2)

    def _button(self, text: str, act: Any, spoken: str = "") -> QPushButton:
        button = push_button(text, self, spoken=spoken)
        button.setAutoDefault(False)
        button.clicked.connect(lambda _checked=False: act())
        return button

    def _choose(self, current: QModelIndex) -> None:
        entry = self.model.entry(current.row())
        if entry is not None:
            self._key = entry.key
        self._enable()

    def _again(self, *, overwrite: bool = False) -> None:
        entry = self.model.entry(self.model.row_of(self._key))
        if entry is not None:
            self._line.again(entry, overwrite=overwrite)

    def _show(self) -> None:
        """Show the line as it is now; the chosen film stays chosen, or else the first one is."""
        some = bool(self._line.entries)
        self.view.setVisible(some)
        self.empty.setVisible(not some)
        row = max(self.model.row_of(self._key), 0)
        self.view.selectionModel().setCurrentIndex(self.model.index(row), QItemSelectionModel.SelectionFlag.ClearAndSelect)
        self.bar.setVisible(self._line.busy)
        self._show_progress()
        self._enable()

    def _show_progress(self) -> None:
        done, total = self._line.progress
        self.bar.setMaximum(total)
        self.bar.setValue(done)

    def _enable(self) -> None:
        line, row = self._line, self.model.row_of(self._key)
        entry, last = self.model.entry(row), len(line.entries) - 1
        free = entry is not None and entry.key != line.working and not line.elsewhere(entry)
        self.start.setEnabled(not line.going and bool(line.waiting))
        self.pause.setEnabled(line.going)
        self.up.setEnabled(row > 0)
        self.down.setEnabled(0 <= row < last)
        self.remove.setEnabled(free)
        failed = free and entry is not None and entry.failed
        self.again.setEnabled(failed)
        self.replace.setEnabled(failed and entry is not None and not entry.overwrite and entry.output.exists())
        self.told.setText("" if entry is None else "\n".join(filter(None, (str(entry.output), entry.reason))))
