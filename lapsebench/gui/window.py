"""The window: it joins session, panes, jobs and menus, and takes what is dropped on it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtGui import (
    QCloseEvent,
    QDragEnterEvent,
    QDragLeaveEvent,
    QDropEvent,
    QGuiApplication,
    QKeyEvent,
)
from PySide6.QtWidgets import QApplication, QFileDialog, QMainWindow, QStackedWidget, QVBoxLayout, QWidget

from lapsebench.gui import theme
from lapsebench.gui.closing import Closing
from lapsebench.gui.deeds import Deeds
from lapsebench.gui.dropcover import DropCover, dropped_paths
from lapsebench.gui.feed import PictureFeed
from lapsebench.gui.filming import Filming
from lapsebench.gui.jobs import Jobs
from lapsebench.gui.keeping import Keeper
from lapsebench.gui.menus import PLAY_ROW, Menus
from lapsebench.gui.opening import Opener
from lapsebench.gui.player import Player
from lapsebench.gui.problems import Message, MessageBar
from lapsebench.gui.session import Session
from lapsebench.gui.settings import Settings
from lapsebench.gui.startpage import StartPage
from lapsebench.gui.striplink import StripLink
from lapsebench.gui.theme import Theme
from lapsebench.gui.workbar import WorkBar
from lapsebench.gui.workbench import Workbench
from lapsebench.io.bundled import demo_folder


class MainWindow(QMainWindow):
    """The one window."""

    def __init__(self) -> None:
        super().__init__()
        self.setWindowTitle(self.tr("lapsebench"))
        self.setAcceptDrops(True)
        self.settings = Settings()
        self.session = Session(self)
        self.jobs = Jobs(self)
        self.player = Player(self.session, self)
        self.opener = Opener(self.session, self.jobs, self.settings, self)
        self.keeper = Keeper(self.session, self.settings, self)
        self.menus = Menus(
            self.session, Deeds(self).by_name(), theme=self._stored_theme(), loop=self._stored_loop(), parent=self
        )
        self.player.set_loop(self._stored_loop())
        self._build()
        self._connect()
        self.menus.fill(self.menuBar())
        self.set_theme(self._stored_theme())
        self._show_recent()
        self._restore_geometry()

    # -- opening

    def open_paths(self, paths: Sequence[Path]) -> None:
        """Open folders or files."""
        self.messages.clear()
        self.opener.open(paths)

    def open_demo(self) -> None:
        """Open the demo night."""
        try:
            folder = demo_folder()
        except Exception as error:  # shown, whatever it is
            self.messages.show_error(error)
            return
        self.messages.clear()
        self.opener.open([folder], remember=False)

    def ask_folder(self) -> None:
        """Let the user choose a folder."""
        start = str(self.settings.folder_to_open())
        text = QFileDialog.getExistingDirectory(self, self.tr("Open a folder of frames"), start)
        if text:
            self.open_paths([Path(text)])

    def ask_files(self) -> None:
        """Let the user choose files."""
        start = str(self.settings.folder_to_open())
        texts, _ = QFileDialog.getOpenFileNames(self, self.tr("Open frames"), start)
        if texts:
            self.open_paths([Path(text) for text in texts])

    def ask_project(self) -> None:
        """Let the user choose a project file."""
        path = self.keeper.ask_file()
        if path is not None:
            self.open_paths([path])

    # -- building

    def _build(self) -> None:
        actions = self.menus.actions
        self.messages = MessageBar(self)
        self.work_bar = WorkBar(self)
        self.start_page = StartPage(self)
        self.bench = Workbench(
            self.session,
            self.settings,
            play_actions={name: actions[name] for name in PLAY_ROW},
            side_actions=[actions[name] for name in ("before", "divided", "film side")],
            toggle_action=actions["toggle frame"],
            parent=self,
        )
        self.stack = QStackedWidget(self)
        self.stack.addWidget(self.start_page)
        self.stack.addWidget(self.bench)
        self.feed = PictureFeed(self.session, self.jobs, self.bench.picture, self)
        self.link = StripLink(self.session, self.bench.strip, self)
        self.filming = Filming(self.session, self.jobs, self.messages, self)
        self.closing = Closing(self, self.filming, self.keeper, self.messages)
        centre = QWidget(self)
        column = QVBoxLayout(centre)
        column.setContentsMargins(0, 2, 0, 0)
        column.setSpacing(4)
        column.addWidget(self.messages)
        column.addWidget(self.stack, 1)
        column.addWidget(self.work_bar)
        self.setCentralWidget(centre)
        self._cover = DropCover(self)

    def _connect(self) -> None:
        self.start_page.folder_wanted.connect(self.ask_folder)
        self.start_page.demo_wanted.connect(self.open_demo)
        self.start_page.recent_wanted.connect(self._open_one)
        self.jobs.started.connect(self.work_bar.follow)
        self.opener.failed.connect(self.messages.show_error)
        self.opener.stopped.connect(self._survey_stopped)
        self.opener.opened.connect(self._opened)
        self.keeper.failed.connect(self.messages.show_error)
        self.keeper.saved.connect(self._name_window)
        self.session.undo_stack.cleanChanged.connect(self._name_window)
        self.session.project_changed.connect(self.closing.reset)
        self.feed.failed.connect(self.messages.show_error)
        self.bench.foot.wanted.connect(self.filming.make)
        self.filming.busy_changed.connect(self.bench.foot.set_busy)
        self.player.playing_changed.connect(self.feed.set_playing)
        self.player.playing_changed.connect(self.bench.transport.set_playing)
        self.player.speed_changed.connect(self.bench.transport.show_speed)
        self.bench.picture_section.dim_cut_changed.connect(self.feed.set_dim_cut)
        self.feed.set_dim_cut(self.bench.picture_section.dim.isChecked())
        self.menus.recent_menu.aboutToShow.connect(self._fill_recent_menu)
        self.session.undo_stack.indexChanged.connect(self._enable)
        self.session.opened.connect(self._enable)
        self.session.surveyed.connect(self._enable)
        self._enable()

    # -- what happens

    def _opened(self) -> None:
        self.stack.setCurrentWidget(self.bench)
        self.keeper.opened(self.opener.paths)
        self._name_window()
        self._show_recent()
        self.bench.strip.setFocus()
        self.feed.refresh()

    def _name_window(self) -> None:
        sources, kept = self.session.project.sources, self.keeper.path
        name = kept.stem if kept else sources[0].name if sources else ""
        self.setWindowTitle(self.tr("{0}[*] – lapsebench").format(name) if name else self.tr("lapsebench"))
        self.setWindowModified(bool(name) and self.keeper.unsaved)

    def _open_one(self, path: Path) -> None:
        self.open_paths([path])

    def _survey_stopped(self) -> None:
        unmeasured = bool(self.session.project.frames) and self.session.survey is None
        again = ((self.tr("Measure again"), self.opener.survey),) if unmeasured else ()
        what = self.tr("Stopped before all frames were measured.") if again else self.tr("Stopped.")
        self.messages.show_message(Message(what, buttons=again))

    def _enable(self) -> None:
        actions, here = self.menus.actions, bool(self.session.project.frames)
        always = {"open folder", "open files", "open project", "open demo", "quit", "undo", "redo", "full screen"}
        always |= {"keys", "about", "loop"}
        always |= {theme.value for theme in Theme}
        for name in actions.names():
            if name not in always:
                actions[name].setEnabled(here)

    def _show_recent(self) -> None:
        self.start_page.show_recent(self.settings.recent())

    def _fill_recent_menu(self) -> None:
        menu, recent = self.menus.recent_menu, self.settings.recent()
        menu.clear()
        for path in recent:
            menu.addAction(str(path).replace("&", "&&")).triggered.connect(lambda _=False, path=path: self._open_one(path))
        if not recent:
            menu.addAction(self.tr("none yet")).setEnabled(False)
            return
        menu.addSeparator()
        menu.addAction(self.tr("Forget these")).triggered.connect(self._forget_recent)

    def _forget_recent(self) -> None:
        self.settings.forget_recent()
        self._show_recent()

    def close_now(self) -> None:
        """Close without asking, even while a film is made."""
        self.closing.now()

    # -- themes and memory

    def set_theme(self, chosen: Theme) -> None:
        """Dress the window in a theme and remember it."""
        app = QApplication.instance()
        if isinstance(app, QApplication):
            theme.apply(app, chosen)
        self.bench.transport.set_colours(theme.COLOURS[chosen])
        self.bench.strip.set_theme(chosen is not Theme.LIGHT)
        self.bench.set_red(chosen is Theme.RED)
        self.menus.actions[chosen.value].setChecked(True)
        self.settings.put("window/theme", chosen.value)

    def _stored_theme(self) -> Theme:
        stored = self.settings.text("window/theme", Theme.DARK.value)
        return Theme(stored) if stored in set(Theme) else Theme.DARK

    def _stored_loop(self) -> bool:
        return self.settings.flag("play/loop", True)

    def _restore_geometry(self) -> None:
        stored = self.settings.state("window/geometry")
        if stored.isEmpty() or not self.restoreGeometry(stored):
            room = QGuiApplication.primaryScreen().availableGeometry()
            self.resize(min(1440, room.width()), min(900, room.height() - 30))

    # -- events

    def keyPressEvent(self, event: QKeyEvent, /) -> None:
        """Take the keys that no focused control wanted."""
        key, shift = Qt.Key, event.modifiers() == Qt.KeyboardModifier.ShiftModifier
        names = {
            key.Key_Space: "play",
            key.Key_Right: "ten on" if shift else "step on",
            key.Key_Left: "ten back" if shift else "step back",
            key.Key_Home: "go in",
            key.Key_End: "go out",
        }
        name = names.get(Qt.Key(event.key()))
        if name is None:
            super().keyPressEvent(event)
        else:
            self.menus.actions[name].trigger()

    def dragEnterEvent(self, event: QDragEnterEvent, /) -> None:
        """Show that folders and files may be dropped."""
        if dropped_paths(event.mimeData()):
            event.acceptProposedAction()
            self._cover.cover()

    def dragLeaveEvent(self, _event: QDragLeaveEvent, /) -> None:
        """Take the cover away."""
        self._cover.hide()

    def dropEvent(self, event: QDropEvent, /) -> None:
        """Open what was dropped."""
        self._cover.hide()
        paths = dropped_paths(event.mimeData())
        if paths:
            event.acceptProposedAction()
            self.open_paths(paths)

    def closeEvent(self, event: QCloseEvent, /) -> None:
        """Remember the window, stop all work and wait for its threads; a film in the making is stopped only on request."""
        if not self.closing.may_close():
            event.ignore()
            return
        self.player.pause()
        self.settings.put("window/geometry", self.saveGeometry())
        self.bench.remember()
        self.settings.save()
        self.jobs.shutdown()
        super().closeEvent(event)
