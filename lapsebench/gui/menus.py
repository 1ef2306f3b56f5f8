"""Makes the actions of the window and lays them out in its menus."""

from __future__ import annotations

from PySide6.QtCore import QObject
from PySide6.QtGui import QKeySequence
from PySide6.QtWidgets import QMenu, QMenuBar

from lapsebench.gui.actions import Actions, Slot
from lapsebench.gui.picture import Side
from lapsebench.gui.session import Session
from lapsebench.gui.theme import Theme

_Standard = QKeySequence.StandardKey
PLAY_ROW = ("in", "step back", "play", "step on", "out", "loop")
"""The actions that are buttons below the picture, in order."""


class Menus(QObject):
    """The actions, made with `do`: what each one does, by name."""

    def __init__(
        self, session: Session, do: dict[str, Slot], *, theme: Theme, loop: bool, parent: QObject | None = None
    ) -> None:
        super().__init__(parent)
        self.actions = Actions(self)
        self._do = do
        self.recent_menu = QMenu(self.tr("&Recent"))
        self._make_file()
        self._make_edit(session)
        self._make_view(theme)
        self._make_play(loop)
        self._make_help()

    def fill(self, bar: QMenuBar) -> None:
        """Put the menus into the menu bar."""
        file = self._menu(bar, self.tr("&File"), ["open folder", "open files", "open project"])
        file.addMenu(self.recent_menu)
        self._extend(file, ["open demo", "-", "save", "save as", "-", "survey", "film file", "film", "still", "-"])
        self._extend(file, ["line up", "line", "-", "quit"])
        self._menu(bar, self.tr("&Edit"), ["undo", "redo", "-", "toggle frame", "peg", "drop pegs"])
        view = ["before", "divided", "film side", "-", "fit", "full", "zoom in", "zoom out", "area", "-"]
        self._menu(bar, self.tr("&View"), [*view, "dark", "light", "red", "-", "full screen"])
        play = ["play", "forward", "stop", "back", "-", "step on", "step back", "ten on", "ten back", "-"]
        self._menu(
            bar, self.tr("&Play"), [*play, "go in", "go out", "next shot", "previous shot", "-", "in", "out", "-", "loop"]
        )
        self._menu(bar, self.tr("&Help"), ["keys", "about"])

    def _menu(self, bar: QMenuBar, title: str, names: list[str]) -> QMenu:
        menu = bar.addMenu(title)
        self._extend(menu, names)
        return menu

    def _extend(self, menu: QMenu, names: list[str]) -> None:
        for name in names:
            if name == "-":
                menu.addSeparator()
            else:
                menu.addAction(self.actions[name])

    def _make_file(self) -> None:
        add, do = self.actions.add, self._do
        add("open folder", self.tr("&Open folder…"), do["open folder"], _Standard.Open)
        add("open files", self.tr("Open f&iles…"), do["open files"], "Ctrl+Shift+O")
        add("open project", self.tr("Open &project…"), do["open project"], "Ctrl+P")
        add("save", self.tr("Sa&ve the project"), do["save"], _Standard.Save)
        add("save as", self.tr("Save the pro&ject as…"), do["save as"], _Standard.SaveAs)
        add("open demo", self.tr("Open the &demo night"), do["open demo"])
        add("survey", self.tr("&Measure again"), do["survey"], _Standard.Refresh)
        add("film file", self.tr("&Name the film file…"), do["film file"], "Ctrl+Shift+F")
        add("film", self.tr("Make the fil&m"), do["film"], "Ctrl+Return")
        add("still", self.tr("Save this frame as a pi&cture…"), do["still"], "Ctrl+E")
        add("line up", self.tr("Let the film &wait in line"), do["line up"], "Ctrl+Shift+Return")
        add("line", self.tr("Fi&lms waiting…"), do["line"], "Ctrl+L")
        add("quit", self.tr("&Quit"), do["quit"], "Ctrl+Q")

    def _make_edit(self, session: Session) -> None:
        stack, add, do = session.undo_stack, self.actions.add, self._do
        self.actions.adopt("undo", stack.createUndoAction(self, self.tr("&Undo")), _Standard.Undo)
        self.actions.adopt("redo", stack.createRedoAction(self, self.tr("&Redo")), _Standard.Redo)
        add("toggle frame", self.tr("&Take this frame in or leave it out"), do["toggle frame"], "T")
        add("peg", self.tr("Set or remove a &peg here"), do["peg"], "P")
        add("drop pegs", self.tr("Remove &all pegs"), do["drop pegs"])

    def _make_view(self, theme: Theme) -> None:
        add, do = self.actions.add, self._do
        sides = {"before": self.tr("&Before"), "divided": self.tr("&Divided"), "film side": self.tr("&Film")}
        by_name = {"before": Side.BEFORE, "divided": Side.DIVIDED, "film side": Side.FILM}
        self.actions.add_choice(sides, lambda name: do["side"](by_name[name]), "divided", ("1", "2", "3"))
        add("fit", self.tr("F&it the picture"), do["fit"], "F")
        add("full", self.tr("Picture at &100 %"), do["full"], "H")
        add("zoom in", self.tr("&Larger"), do["zoom in"], _Standard.ZoomIn)
        add("zoom out", self.tr("&Smaller"), do["zoom out"], _Standard.ZoomOut)
        self.actions.add_switch("area", self.tr("Show the metering &area"), do["area"], "A")
        themes = {"dark": self.tr("Dar&k"), "light": self.tr("Li&ght"), "red": self.tr("&Red, for the night outside")}
        self.actions.add_choice(themes, lambda name: do["theme"](Theme(name)), theme.value)
        self.actions.add_switch("full screen", self.tr("F&ull screen"), do["full screen"], _Standard.FullScreen)

    def _make_play(self, loop: bool) -> None:
        add, do = self.actions.add, self._do
        add("play", self.tr("&Play or pause"), do["play"], spoken=self.tr("Space"))
        add("forward", self.tr("&Forward, again: faster"), do["forward"], "L")
        add("stop", self.tr("&Stop"), do["stop"], "K")
        add("back", self.tr("&Backward, again: faster"), do["back"], "J")
        add("step on", self.tr("One frame &on"), do["step on"], spoken=self.tr("Right"))
        add("step back", self.tr("One frame bac&k"), do["step back"], spoken=self.tr("Left"))
        add("ten on", self.tr("Ten frames on"), do["ten on"], spoken=self.tr("Shift+Right"))
        add("ten back", self.tr("Ten frames back"), do["ten back"], spoken=self.tr("Shift+Left"))
        add("go in", self.tr("To the in point"), do["go in"], spoken=self.tr("Home"))
        add("go out", self.tr("To the out point"), do["go out"], spoken=self.tr("End"))
        add("next shot", self.tr("&Next shot"), do["next shot"], "Ctrl+Down")
        add("previous shot", self.tr("Pre&vious shot"), do["previous shot"], "Ctrl+Up")
        add("in", self.tr("Shot starts here (&in)"), do["in"], "I")
        add("out", self.tr("Shot ends here (o&ut)"), do["out"], "O")
        self.actions.add_switch("loop", self.tr("&Repeat the shot"), do["loop"], "R", on=loop)

    def _make_help(self) -> None:
        self.actions.add("keys", self.tr("&Keys…"), self._do["keys"], _Standard.HelpContents)
        self.actions.add("about", self.tr("&About lapsebench"), self._do["about"])
