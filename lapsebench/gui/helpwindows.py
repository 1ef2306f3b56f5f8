"""The help menu's two small windows: the keys, and what this program is. Neither stops the work."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QAction
from PySide6.QtWidgets import (
    QAbstractItemView,
    QDialog,
    QDialogButtonBox,
    QHeaderView,
    QLabel,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from lapsebench import __version__
from lapsebench.gui.actions import Actions


def key_of(action: QAction) -> str:
    """Return the key of an action as it is written, empty where it has none."""
    return action.text().partition("\t")[2] or action.shortcut().toString()


class KeysWindow(QDialog):
    """Every action that has a key."""

    def __init__(self, actions: Actions, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle(self.tr("Keys"))
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        rows = [(key_of(actions[name]), actions[name].text().partition("\t")[0]) for name in actions.names()]
        rows = [(key, text.replace("&", "")) for key, text in rows if key] + self._framing()
        self.table = QTableWidget(len(rows), 2, self)
        self.table.setAccessibleName(self.tr("Keys and what they do"))
        self.table.setHorizontalHeaderLabels([self.tr("Key"), self.tr("What it does")])
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.verticalHeader().hide()
        self.table.horizontalHeader().setSectionResizeMode(0, QHeaderView.ResizeMode.ResizeToContents)
        self.table.horizontalHeader().setSectionResizeMode(1, QHeaderView.ResizeMode.Stretch)
        for row, (key, text) in enumerate(rows):
            self.table.setItem(row, 0, QTableWidgetItem(key))
            self.table.setItem(row, 1, QTableWidgetItem(text))
        _finish(self, self.table)
        self.resize(440, 560)

    def _framing(self) -> list[tuple[str, str]]:
        """Return the keys of the film's frame in the picture, which are no actions."""
        arrows = self.tr("Arrows")
        return [
            (arrows, self.tr("Move the film's frame, while it has the focus")),
            (self.tr("Shift+{0}").format(arrows), self.tr("Move the film's frame further")),
            ("+", self.tr("Make the film's frame larger")),
            ("−", self.tr("Make the film's frame smaller")),
            ("Esc", self.tr("Leave the film's frame")),
        ]


class AboutWindow(QDialog):
    """What the program is, and its version."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle(self.tr("About lapsebench"))
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        text = self.tr(
            "lapsebench {0}\n\nTurns a night of northern-lights stills, shot with exposure settings changed by hand, "
            "into steady, living film. Your frames are only read, never written."
        )
        label = QLabel(text.format(__version__), self, wordWrap=True)
        _finish(self, label)
        self.resize(420, 180)


def _finish(window: QDialog, content: QWidget) -> None:
    buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Close, window)
    buttons.rejected.connect(window.close)
    layout = QVBoxLayout(window)
    layout.addWidget(content)
    layout.addWidget(buttons)
