"""The ways in: folders, files, projects, the demo night and the recent ones, by dialog, button or menu."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import QObject, Signal
from PySide6.QtWidgets import QFileDialog, QMenu, QWidget

from lapsebench.gui.keeping import Keeper
from lapsebench.gui.opening import Opener
from lapsebench.gui.problems import MessageBar
from lapsebench.gui.settings import Settings
from lapsebench.io.bundled import demo_folder


class Entrance(QObject):
    """Finds out what to open and hands it to the opener."""

    recent_forgotten = Signal()

    def __init__(self, window: QWidget, settings: Settings, opener: Opener, keeper: Keeper, messages: MessageBar) -> None:
        super().__init__(window)
        self._window, self._settings = window, settings
        self._opener, self._keeper, self._messages = opener, keeper, messages

    def open_paths(self, paths: Sequence[Path]) -> None:
        """Open folders or files."""
        self._messages.clear()
        self._opener.open(paths)

    def open_one(self, path: Path) -> None:
        """Open a folder or a project."""
        self.open_paths([path])

    def open_demo(self) -> None:
        """Open the demo night."""
        try:
            folder = demo_folder()
        except Exception as error:  # shown, whatever it is
            self._messages.show_error(error)
            return
        self._messages.clear()
        self._opener.open([folder], remember=False)

    def ask_folder(self) -> None:
        """Let the user choose a folder."""
        start = str(self._settings.folder_to_open())
        text = QFileDialog.getExistingDirectory(self._window, self.tr("Open a folder of frames"), start)
        if text:
            self.open_one(Path(text))

    def ask_files(self) -> None:
        """Let the user choose files."""
        start = str(self._settings.folder_to_open())
        texts, _ = QFileDialog.getOpenFileNames(self._window, self.tr("Open frames"), start)
        if texts:
            self.open_paths([Path(text) for text in texts])

    def ask_project(self) -> None:
        """Let the user choose a project file."""
        path = self._keeper.ask_file()
        if path is not None:
            self.open_one(path)

    def fill_recent(self, menu: QMenu) -> None:
        """List the recent folders and projects in a menu."""
        menu.clear()
        recent = self._settings.recent()
        for path in recent:
            menu.addAction(str(path).replace("&", "&&")).triggered.connect(lambda _=False, path=path: self.open_one(path))
        if not recent:
            menu.addAction(self.tr("none yet")).setEnabled(False)
            return
        menu.addSeparator()
        menu.addAction(self.tr("Forget these")).triggered.connect(self._forget_recent)

    def _forget_recent(self) -> None:
        self._settings.forget_recent()
        self.recent_forgotten.emit()
