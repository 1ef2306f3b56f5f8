"""What the menus' actions do, by the names the menus know them by."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, Qt

from lapsebench.gui.actions import Slot
from lapsebench.gui.commands import change_light, trim_shot
from lapsebench.gui.helpwindows import AboutWindow, KeysWindow
from lapsebench.gui.picture import Side

if TYPE_CHECKING:
    from lapsebench.gui.window import MainWindow


class Deeds(QObject):
    """Acts on a window whose parts may still be in the making; each deed looks for them when it is done."""

    def __init__(self, window: MainWindow) -> None:
        super().__init__(window)
        self._window, self._session, self._player = window, window.session, window.player

    def by_name(self) -> dict[str, Slot]:
        """Return every deed by name."""
        return {**self._files(), **self._edits(), **self._views(), **self._plays()}

    def _files(self) -> dict[str, Slot]:
        window = self._window
        return {
            "open folder": window.entrance.ask_folder,
            "open files": window.entrance.ask_files,
            "open project": window.entrance.ask_project,
            "open demo": window.entrance.open_demo,
            "save": window.keeper.save,
            "save as": window.keeper.save_as,
            "survey": window.opener.survey,
            "film file": self._ask_film_file,
            "film": self._ask_film,
            "still": window.stills.ask,
            "line up": self._ask_line,
            "line": window.show_line,
            "quit": window.close,
            "keys": lambda: KeysWindow(window.menus.actions, window).show(),
            "about": lambda: AboutWindow(window).show(),
        }

    def _edits(self) -> dict[str, Slot]:
        session = self._session
        return {
            "toggle frame": lambda: session.toggle_frame(session.playhead),
            "peg": self._peg,
            "drop pegs": lambda: session.edit(self.tr("Remove all pegs"), change_light(pegs=())),
            "in": lambda: self._trim(starts_here=True),
            "out": lambda: self._trim(starts_here=False),
        }

    def _views(self) -> dict[str, Slot]:
        window = self._window
        return {
            "side": self._show_side,
            "fit": lambda: window.bench.picture.set_zoom(None),
            "full": lambda: window.bench.picture.set_zoom(1.0),
            "zoom in": lambda: window.bench.picture.zoom_by(1.25),
            "zoom out": lambda: window.bench.picture.zoom_by(0.8),
            "area": self._show_area,
            "theme": window.set_theme,
            "full screen": self._full_screen,
        }

    def _plays(self) -> dict[str, Slot]:
        session, player = self._session, self._player
        return {
            "play": player.toggle,
            "forward": player.forward,
            "stop": player.pause,
            "back": player.back,
            "loop": self._loop,
            "step on": lambda: self._step(1),
            "step back": lambda: self._step(-1),
            "ten on": lambda: self._step(10),
            "ten back": lambda: self._step(-10),
            "go in": lambda: self._go(at_end=False),
            "go out": lambda: self._go(at_end=True),
            "next shot": lambda: session.show_shot(session.shot_index + 1),
            "previous shot": lambda: session.show_shot(session.shot_index - 1),
        }

    def _ask_film_file(self) -> None:
        self._window.bench.foot.ask_file()

    def _ask_film(self) -> None:
        self._window.bench.foot.ask_film()

    def _ask_line(self) -> None:
        self._window.bench.foot.ask_line()

    def _peg(self) -> None:
        self._window.link.peg_at_playhead()

    def _show_side(self, side: Side) -> None:
        self._window.bench.picture.set_side(side)

    def _show_area(self, on: bool) -> None:
        self._window.bench.light.measuring.area.show_box.setChecked(on)

    def _full_screen(self, on: bool) -> None:
        state, full = self._window.windowState(), Qt.WindowState.WindowFullScreen
        self._window.setWindowState(state | full if on else state & ~full)

    def _loop(self, on: bool) -> None:
        self._player.set_loop(on)
        self._window.settings.put("play/loop", on)

    def _step(self, count: int) -> None:
        self._player.pause()
        self._session.step(count)

    def _go(self, *, at_end: bool) -> None:
        shot = self._session.shot
        if shot is not None:
            self._session.move_to(shot.trim_out if at_end else shot.trim_in)

    def _trim(self, *, starts_here: bool) -> None:
        session, shot = self._session, self._session.shot
        if shot is None:
            return
        here = session.playhead
        first = here if starts_here else min(shot.trim_in, here)
        last = max(shot.trim_out, here) if starts_here else here
        session.edit(self.tr("Set in and out"), trim_shot(session.shot_index, first, last))
