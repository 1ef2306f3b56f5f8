"""The window: it joins session, panes, jobs and menus, and takes what is dropped on it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QCloseEvent, QGuiApplication, QKeyEvent
from PySide6.QtWidgets import QApplication, QStackedWidget, QVBoxLayout, QWidget

from lapsebench.gui import theme
from lapsebench.gui.arealink import AreaLink
from lapsebench.gui.closing import Guard
from lapsebench.gui.deeds import Deeds
from lapsebench.gui.dropcover import DropWindow
from lapsebench.gui.entrance import Entrance
from lapsebench.gui.feed import PictureFeed
from lapsebench.gui.filming import Filming
from lapsebench.gui.flashes import FlashTeller
from lapsebench.gui.jobs import Jobs
from lapsebench.gui.keeping import Keeper
from lapsebench.gui.menus import PLAY_ROW, Menus
from lapsebench.gui.opening import Opener
from lapsebench.gui.picture_area import AreaLayer
from lapsebench.gui.player import Player
from lapsebench.gui.problems import Message, MessageBar
from lapsebench.gui.queue import FilmLine
from lapsebench.gui.queuewindow import QueueWindow
from lapsebench.gui.resplitting import Resplitter
from lapsebench.gui.savestill import StillSaver
from lapsebench.gui.session import Session
from lapsebench.gui.settings import Settings
from lapsebench.gui.startpage import StartPage
from lapsebench.gui.striplink import StripLink
from lapsebench.gui.theme import Theme
from lapsebench.gui.workbar import WorkBar
from lapsebench.gui.workbench import Workbench

_KEYS = {
    Qt.Key.Key_Space: "play",
    Qt.Key.Key_Right: "step on",
    Qt.Key.Key_Left: "step back",
    Qt.Key.Key_Home: "go in",
    Qt.Key.Key_End: "go out",
}
_SHIFTED = {Qt.Key.Key_Right: "ten on", Qt.Key.Key_Left: "ten back"}
_ALWAYS = {"open folder", "open files", "open project", "open demo", "quit", "undo", "redo", "full screen", "keys", "about"}
_ALWAYS |= {"loop", "line", *Theme}
"""Actions for which nothing need be open."""
_ELSEWHERE = {"area"}
"""Actions whose own part of the window enables them."""


class MainWindow(DropWindow):
    """The one window."""

    def __init__(self) -> None:
        super().__init__()
        self.setWindowTitle(self.tr("lapsebench"))
        self.settings = Settings()
        self.session = Session(self)
        self.jobs = Jobs(self)
        self.player = Player(self.session, self)
        self.resplitter = Resplitter(self.session, self.jobs, self)
        self.messages = MessageBar(self)
        self.filming = Filming(self.session, self.jobs, self.messages, self)
        self.stills = StillSaver(self.session, self.jobs, self.settings, self.messages, self)
        self.keeper = Keeper(self.session, self.settings, self.jobs, self)
        self.line = FilmLine(self.session, self.jobs, self.filming, self.messages, self)
        self.guard = Guard(self, self.session, self.filming, self.keeper, self.messages, line=self.line)
        admit = self.guard.before_opening
        self.opener = Opener(self.session, self.jobs, self.settings, admit=admit, parent=self)
        self.entrance = Entrance(self, self.settings, self.opener, self.keeper, self.messages)
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
        start = QTimer(self, singleShot=True)
        start.timeout.connect(self.line.tell_waiting)
        start.start()  # for once that what is opened first is under way

    def open_paths(self, paths: Sequence[Path]) -> None:
        """Open folders or files."""
        self.entrance.open_paths(paths)

    def open_demo(self) -> None:
        """Open the demo night."""
        self.entrance.open_demo()

    # -- building

    def _build(self) -> None:
        actions = self.menus.actions
        self.work_bar = WorkBar(self)
        self.start_page = StartPage(self)
        self.bench = Workbench(
            self.session,
            self.settings,
            self.jobs,
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
        self.area_layer = AreaLayer(self.bench.picture)
        self.area_link = AreaLink(self.session, self.area_layer, self.bench.light.measuring.area, actions["area"], self)
        self.flashes = FlashTeller(self.session, self.messages, self.bench.picture.set_mark, self)
        centre = QWidget(self)
        column = QVBoxLayout(centre)
        column.setContentsMargins(0, 2, 0, 0)
        column.setSpacing(4)
        column.addWidget(self.messages)
        column.addWidget(self.stack, 1)
        column.addWidget(self.work_bar)
        self.setCentralWidget(centre)
        self.line_window = QueueWindow(self.line, self)

    def _connect(self) -> None:
        self.dropped.connect(self.entrance.open_paths)
        self.start_page.folder_wanted.connect(self.entrance.ask_folder)
        self.start_page.demo_wanted.connect(self.entrance.open_demo)
        self.start_page.recent_wanted.connect(self.entrance.open_one)
        self.jobs.started.connect(self.work_bar.follow)
        self.opener.failed.connect(self.messages.show_error)
        self.opener.stopped.connect(self._survey_stopped)
        self.opener.opened.connect(self._opened)
        self.resplitter.failed.connect(self.messages.show_error)
        self.resplitter.stopped.connect(self._resplit_stopped)
        self.resplitter.busy_changed.connect(self.bench.foot.set_waiting)
        self.keeper.failed.connect(self.messages.show_error)
        self.keeper.saved.connect(self._name_window)
        self.session.undo_stack.cleanChanged.connect(self._name_window)
        self.feed.failed.connect(self.messages.show_error)
        for part in (self.bench.picture_section.balance, self.bench.picture_section.look):
            part.failed.connect(self.messages.show_error)
        edited, foot = self.session.undo_stack.indexChanged, self.bench.foot
        for deed in (edited, self.session.opened, foot.renamed, foot.wanted, foot.line_wanted):
            deed.connect(self.messages.move_on)  # before it has anything to say itself
        self.bench.foot.wanted.connect(self.line.film_wanted)
        self.bench.foot.line_wanted.connect(self.line.add)
        self.line.show_wanted.connect(self.show_line)
        self.filming.done.connect(self.flashes.tell)
        self.filming.busy_changed.connect(self.bench.foot.set_busy)
        self.player.playing_changed.connect(self.feed.set_playing)
        self.player.playing_changed.connect(self.bench.transport.set_playing)
        self.player.speed_changed.connect(self.bench.transport.show_speed)
        self.menus.recent_menu.aboutToShow.connect(lambda: self.entrance.fill_recent(self.menus.recent_menu))
        self.entrance.recent_forgotten.connect(self._show_recent)
        self.session.undo_stack.indexChanged.connect(self._enable)
        self.session.opened.connect(self._enable)
        self.session.surveyed.connect(self._enable)
        self.session.playhead_changed.connect(self._enable_toggle)
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

    def _survey_stopped(self) -> None:
        unmeasured = bool(self.session.project.frames) and self.session.survey is None
        again = ((self.tr("Measure again"), self.opener.survey),) if unmeasured else ()
        what = self.tr("Stopped before all frames were measured.") if again else self.tr("Stopped.")
        self.messages.show_message(Message(what, buttons=again))

    def _resplit_stopped(self) -> None:
        what = self.tr("Stopped: the light is still the one of before.")
        self.messages.show_message(Message(what, buttons=((self.tr("Work it out"), self.resplitter.again),)))

    def _enable(self) -> None:
        actions, frame = self.menus.actions, self.session.frame
        for name in actions.names():
            if name not in _ALWAYS | _ELSEWHERE:
                actions[name].setEnabled(frame is not None)
        self._enable_toggle()

    def _enable_toggle(self) -> None:
        """Let a frame be taken in or left out unless it is unreadable."""
        frame = self.session.frame
        self.menus.actions["toggle frame"].setEnabled(frame is not None and frame.readable)

    def _show_recent(self) -> None:
        self.start_page.show_recent(self.settings.recent())

    def close_now(self) -> None:
        """Close without asking, even while a film is made."""
        self.guard.close_now()

    def show_line(self) -> None:
        """Show the window of waiting films, in front if it is open already."""
        self.line_window.show()
        self.line_window.activateWindow()

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
        shift = event.modifiers() == Qt.KeyboardModifier.ShiftModifier
        name = {**_KEYS, **(_SHIFTED if shift else {})}.get(Qt.Key(event.key()))
        if name is None:
            super().keyPressEvent(event)
        else:
            self.menus.actions[name].trigger()

    def closeEvent(self, event: QCloseEvent, /) -> None:
        """Remember the window, stop all work and wait for its threads; a film in the making is stopped only on request."""
        if not self.guard.may_close():
            event.ignore()
            return
        self.player.pause()
        self.settings.put("window/geometry", self.saveGeometry())
        self.bench.remember()
        self.settings.save()
        self.jobs.shutdown()
        super().closeEvent(event)
