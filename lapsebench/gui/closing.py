"""Asks once, without a dialog, before closing or opening would lose something."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QObject
from PySide6.QtWidgets import QWidget

from lapsebench.gui.filming import Filming
from lapsebench.gui.keeping import Keeper
from lapsebench.gui.problems import Message, MessageBar
from lapsebench.gui.queue import FilmLine
from lapsebench.gui.session import Session

Deed = Callable[[], object]
"""What is done once nothing is lost by it."""


class Guard(QObject):
    """Guards a window with a film in the making or edits that no file holds."""

    def __init__(
        self,
        window: QWidget,
        session: Session,
        filming: Filming,
        keeper: Keeper,
        messages: MessageBar,
        *,
        line: FilmLine,
    ) -> None:
        super().__init__(window)
        self._window, self._session, self._line = window, session, line
        self._filming, self._keeper, self._messages = filming, keeper, messages
        self._asked = self._let_go = False
        filming.busy_changed.connect(self._reset)
        line.busy_changed.connect(self._reset)
        session.undo_stack.indexChanged.connect(self._reset)

    def close_now(self) -> None:
        """Close without asking."""
        self._asked = True
        self._window.close()

    def may_close(self) -> bool:
        """Return whether nothing is lost, or the user was asked already; else ask."""
        edits = self._loses_edits()
        filming = self._filming.busy or self._line.busy
        if self._asked or not (filming or edits):
            return True
        self._asked = True
        self._messages.show_message(self._film_question() if filming else self._closing_question())
        return False

    def before_opening(self, go_on: Deed) -> None:
        """Go on with opening another night: at once where no edits are lost by it, else when the user says so."""
        if self._let_go or not self._loses_edits():
            go_on()
        else:
            self._messages.show_message(self._opening_question(go_on))

    def _reset(self) -> None:
        """Ask again before the next loss: there is more to lose now."""
        self._asked = self._let_go = False

    def _loses_edits(self) -> bool:
        """Save what a file may hold, and return whether there are edits still that none does."""
        kept = True
        if self._keeper.path is not None and (self._keeper.unsaved or self._keeper.saving):
            kept = self._keeper.save_now()
        return (self._keeper.unsaved or not kept) and bool(self._session.project.frames)

    def _film_question(self) -> Message:
        buttons = ((self.tr("Stop it and close"), self._window.close),)
        what, remedy = self.tr("A film is being made."), self.tr("Close once more to stop it.")
        if self._line.busy:
            remedy = self.tr("Close once more to stop it; what waits in line stays there for the next start.")
        return Message(what, remedy, "caution", buttons=buttons)

    def _closing_question(self) -> Message:
        buttons = (self._saving(self._window.close), (self.tr("Close without saving"), self._window.close))
        return self._edits_question(self.tr("Close once more to let it go."), *buttons)

    def _opening_question(self, go_on: Deed) -> Message:
        buttons = (self._saving(go_on), (self.tr("Open anyway"), lambda: self._open_anyway(go_on)))
        return self._edits_question(self.tr("Opening another night lets it go."), *buttons)

    def _edits_question(self, remedy: str, *buttons: tuple[str, Deed]) -> Message:
        return Message(self.tr("What you set for this night is not saved."), remedy, "caution", buttons=buttons)

    def _saving(self, go_on: Deed) -> tuple[str, Deed]:
        """Return the button that saves the project and then goes on; it may have been saved since the question."""

        def save() -> None:
            if self._loses_edits():
                self._keeper.save_as(go_on)
            else:
                go_on()

        return self.tr("Save the project…"), save

    def _open_anyway(self, go_on: Deed) -> None:
        self._let_go = True
        go_on()
