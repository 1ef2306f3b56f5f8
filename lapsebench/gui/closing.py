"""Asks once, without a dialog, before closing would lose something; closing again goes through."""

from __future__ import annotations

from PySide6.QtCore import QObject
from PySide6.QtWidgets import QWidget

from lapsebench.gui.filming import Filming
from lapsebench.gui.keeping import Keeper
from lapsebench.gui.problems import Message, MessageBar


class Closing(QObject):
    """Guards a window with a film in the making or edits that no file holds."""

    def __init__(self, window: QWidget, filming: Filming, keeper: Keeper, messages: MessageBar) -> None:
        super().__init__(window)
        self._window, self._filming, self._keeper, self._messages = window, filming, keeper, messages
        self._asked = False
        filming.busy_changed.connect(self.reset)

    def reset(self) -> None:
        """Ask again before the next closing."""
        self._asked = False

    def now(self) -> None:
        """Close without asking."""
        self._asked = True
        self._window.close()

    def may_close(self) -> bool:
        """Return whether nothing is lost, or the user was asked already; else ask."""
        if self._keeper.path is not None and self._keeper.unsaved:
            self._keeper.save_now()
        if self._asked or not (self._filming.busy or self._keeper.unsaved):
            return True
        self._asked = True
        self._messages.show_message(self._film_question() if self._filming.busy else self._edits_question())
        return False

    def _film_question(self) -> Message:
        buttons = ((self.tr("Stop it and close"), self._window.close),)
        return Message(self.tr("A film is being made."), self.tr("Close once more to stop it."), "caution", buttons=buttons)

    def _edits_question(self) -> Message:
        buttons = (
            (self.tr("Save the project…"), self._save_and_close),
            (self.tr("Close without saving"), self._window.close),
        )
        what = self.tr("What you set for this night is not saved.")
        return Message(what, self.tr("Close once more to let it go."), "caution", buttons=buttons)

    def _save_and_close(self) -> None:
        if self._keeper.save_as():
            self._window.close()
