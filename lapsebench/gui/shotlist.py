"""The list of shots at the left: what each is, and whether it goes into the film."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import QAbstractListModel, QModelIndex, QObject, QPersistentModelIndex, QSize, Qt, QTimer
from PySide6.QtGui import QPixmap
from PySide6.QtWidgets import QListView, QVBoxLayout, QWidget

from lapsebench.gui.commands import change_shot
from lapsebench.gui.feed import thumbnail
from lapsebench.gui.parts import label_for, single_choice, soft_label
from lapsebench.gui.session import Session
from lapsebench.gui.words import Words

Index = QModelIndex | QPersistentModelIndex
_THUMB = QSize(63, 48)
_FRESH_MS = 400


class ShotModel(QAbstractListModel):
    """The project's shots; the check box takes one into the film or leaves it out."""

    def __init__(self, session: Session, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._session, self._words = session, Words(self)
        self._count = len(session.project.shots)
        self._thumbs: dict[int, QPixmap] = {}
        self._fresh = QTimer(self, singleShot=True, interval=_FRESH_MS)
        self._fresh.timeout.connect(self._redo_thumbs)
        session.opened.connect(self._reset)
        session.project_changed.connect(self._changed)
        session.surveyed.connect(self._fresh.start)
        session.film_light_changed.connect(self._fresh.start)
        session.measured.connect(self._measured)

    def rowCount(self, parent: Index = QModelIndex(), /) -> int:  # noqa: B008
        """Return the number of shots."""
        return 0 if parent.isValid() else self._count

    def flags(self, index: Index, /) -> Qt.ItemFlag:
        """Return that a shot can be chosen and checked."""
        if not index.isValid():
            return Qt.ItemFlag.NoItemFlags
        return Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable | Qt.ItemFlag.ItemIsUserCheckable

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole, /) -> Any:
        """Return the words, the small picture or the check mark of a shot."""
        if not self.checkIndex(index, self.CheckIndexOption.IndexIsValid) or index.row() >= len(self._session.project.shots):
            return None
        if role == Qt.ItemDataRole.DisplayRole:
            return self._text(index.row(), "\n")
        if role in (Qt.ItemDataRole.ToolTipRole, Qt.ItemDataRole.AccessibleTextRole):
            return self._text(index.row(), " · ")
        if role == Qt.ItemDataRole.DecorationRole:
            return self._thumb(index.row())
        if role == Qt.ItemDataRole.CheckStateRole:
            in_film = self._session.project.shots[index.row()].in_film
            return Qt.CheckState.Checked if in_film else Qt.CheckState.Unchecked
        return None

    def setData(self, index: Index, value: Any, role: int = Qt.ItemDataRole.EditRole, /) -> bool:
        """Take the shot into the film or leave it out."""
        if role != Qt.ItemDataRole.CheckStateRole or not index.isValid():
            return False
        in_film = Qt.CheckState(value) == Qt.CheckState.Checked
        name = self.tr("Take shot {0} in") if in_film else self.tr("Leave shot {0} out")
        self._session.edit(name.format(index.row() + 1), change_shot(index.row(), in_film=in_film))
        return True

    def _text(self, row: int, between: str) -> str:
        project = self._session.project
        shot = project.shots[row]
        lines = [
            self.tr("Shot {0}").format(row + 1),
            self._words.frames(len(shot.frames)),
            self._words.span(project, shot),
            "" if shot.why == "start" else shot.why,
        ]
        return between.join(line for line in lines if line)

    def _thumb(self, row: int) -> QPixmap | None:
        if row not in self._thumbs:
            shot = self._session.project.shots[row]
            image = thumbnail(self._session, (shot.first + shot.last) // 2)
            if image is None:
                empty = QPixmap(_THUMB)
                empty.fill(Qt.GlobalColor.black)
                return empty
            how = (Qt.AspectRatioMode.KeepAspectRatio, Qt.TransformationMode.SmoothTransformation)
            self._thumbs[row] = QPixmap.fromImage(image.scaled(_THUMB * 2, *how))
            self._thumbs[row].setDevicePixelRatio(2)
        return self._thumbs[row]

    def _reset(self) -> None:
        self.beginResetModel()
        self._thumbs.clear()
        self._count = len(self._session.project.shots)
        self.endResetModel()

    def _changed(self) -> None:
        if len(self._session.project.shots) != self._count:
            self._reset()
        elif self._count:
            self.dataChanged.emit(self.index(0), self.index(self._count - 1))

    def _measured(self, number: int) -> None:
        if any(number == (shot.first + shot.last) // 2 for shot in self._session.project.shots):
            self._changed()

    def _redo_thumbs(self) -> None:
        self._thumbs.clear()
        self._changed()


class ShotList(QWidget):
    """The left panel."""

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("panel")
        self._session = session
        self.model = ShotModel(session, self)
        self.view = QListView(self, wordWrap=True, spacing=2)
        self.view.setObjectName("shots")
        self.view.setIconSize(_THUMB)
        self.view.setModel(self.model)
        single_choice(self.view, self.tr("Shots"))
        self.view.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        title = label_for(self.tr("Sh&ots"), self.view, self)
        title.setProperty("heading", True)
        hint = soft_label(self, self.tr("Checked shots go into the film, in this order."))
        layout = QVBoxLayout(self)
        layout.setContentsMargins(6, 8, 6, 8)
        for widget in (title, self.view, hint):
            layout.addWidget(widget)
        self.view.selectionModel().currentChanged.connect(self._chosen)
        session.shot_changed.connect(self._follow)

    def _chosen(self, current: QModelIndex) -> None:
        if current.isValid():
            self._session.show_shot(current.row())

    def _follow(self) -> None:
        if self._session.project.shots:
            self.view.setCurrentIndex(self.model.index(self._session.shot_index))
