"""Messages at the top of the window: what happened, what to do, and details to copy; never in the way of work."""

from __future__ import annotations

import traceback
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

from PySide6.QtCore import QObject, Qt, QTimer, Signal
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QPlainTextEdit, QToolButton, QVBoxLayout, QWidget

from lapsebench.errors import EncoderError, LapsebenchError
from lapsebench.gui.parts import push_button

Kind = Literal["note", "caution", "problem", "done"]
_MOST = 2
_WHILE_MS = 30_000  # that a note is shown for; what was made meanwhile is said until it is seen


@dataclass(frozen=True)
class Message:
    """What is shown: `what` in bold, `remedy` below it, `details` on request, and buttons (text, what it does).

    `answered`: whatever the user does next answers it, as another name does for one that was refused.
    """

    what: str
    remedy: str = ""
    kind: Kind = "note"
    details: str = ""
    buttons: tuple[tuple[str, Callable[[], object]], ...] = field(default=())
    answered: bool = False

    @property
    def asks_nothing(self) -> bool:
        """Whether it only tells how something went."""
        return self.kind in ("note", "done") and not self.buttons


class Describer(QObject):
    """Turns an error into a message."""

    def message(self, error: BaseException, *, answered: bool = False) -> Message:
        """Return what to show for `error`; one that nobody foresaw brings its traceback to copy and stays."""
        if isinstance(error, LapsebenchError):
            log = error.log if isinstance(error, EncoderError) else ""
            return Message(error.what, error.remedy, "problem", log, answered=answered)
        return Message(
            self.tr("Something went wrong that should not: {0}").format(self._short(error)),
            self.tr("Your frames are untouched. Copy the details if you want to report it."),
            "problem",
            "".join(traceback.format_exception(error)),
        )

    def _short(self, error: BaseException) -> str:
        text = str(error).strip().splitlines()
        return f"{type(error).__name__}: {text[0]}" if text else type(error).__name__


class MessageRow(QFrame):
    """One message with its buttons."""

    closed = Signal(object)

    def __init__(self, message: Message, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.message = message
        self.setObjectName("message")
        self.setProperty("kind", message.kind)
        self.setAccessibleName(message.what)
        self._details = QPlainTextEdit(message.details, self, readOnly=True)
        self._details.setMaximumHeight(150)
        self._details.hide()
        self._details.setAccessibleName(self.tr("Details"))
        outer = QVBoxLayout(self)
        outer.setContentsMargins(10, 6, 6, 6)
        row = QHBoxLayout()
        row.addLayout(self._texts(), 1)
        self._add_buttons(row)
        outer.addLayout(row)
        outer.addWidget(self._details)

    def close_row(self) -> None:
        """Take the message away."""
        self.closed.emit(self)

    def _texts(self) -> QVBoxLayout:
        texts = QVBoxLayout()
        texts.setSpacing(1)
        flags = Qt.TextInteractionFlag.TextSelectableByMouse
        for text, bold in ((self.message.what, True), (self.message.remedy, False)):
            if text:
                label = QLabel(text, self, wordWrap=True, textInteractionFlags=flags, textFormat=Qt.TextFormat.PlainText)
                font = label.font()
                font.setBold(bold)
                label.setFont(font)
                texts.addWidget(label)
        return texts

    def _add_buttons(self, row: QHBoxLayout) -> None:
        for text, action in self.message.buttons:
            button = push_button(text, self)
            button.clicked.connect(self._runner(action))
            row.addWidget(button, 0, Qt.AlignmentFlag.AlignVCenter)
        if self.message.details:
            show = push_button(self.tr("Details"), self, checkable=True)
            show.toggled.connect(self._details.setVisible)
            row.addWidget(show)
            copy = push_button(self.tr("Copy details"), self)
            copy.clicked.connect(self.copy_details)
            row.addWidget(copy)
        shut = QToolButton(self)
        shut.setText("✕")
        shut.setAccessibleName(self.tr("Close this message"))
        shut.setToolTip(self.tr("Close this message"))
        shut.clicked.connect(self.close_row)
        row.addWidget(shut)

    def copy_details(self) -> None:
        """Put the message and its details on the clipboard."""
        parts = (self.message.what, self.message.remedy, self.message.details)
        QGuiApplication.clipboard().setText("\n\n".join(part for part in parts if part))

    def _runner(self, action: Callable[[], object]) -> Callable[[], None]:
        def run() -> None:
            self.close_row()
            action()

        return run


class MessageBar(QWidget):
    """The messages, newest on top, at most two."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName(self.tr("Messages"))
        self._describer = Describer(self)
        self._rows: list[MessageRow] = []
        self._layout = QVBoxLayout(self)
        self._layout.setContentsMargins(6, 2, 6, 0)
        self._layout.setSpacing(4)
        self.hide()

    @property
    def messages(self) -> list[Message]:
        """What is shown now, newest first."""
        return [row.message for row in self._rows]

    @property
    def rows(self) -> list[MessageRow]:
        """The rows shown now, newest first."""
        return list(self._rows)

    def show_error(self, error: BaseException) -> None:
        """Show what an error says."""
        self.show_message(self._describer.message(error))

    def show_message(self, message: Message) -> None:
        """Show a message on top; the same one twice is shown once."""
        for row in [row for row in self._rows if row.message.what == message.what]:
            self._remove(row)
        row = MessageRow(message, self)
        row.closed.connect(self._remove)
        self._rows.insert(0, row)
        self._layout.insertWidget(0, row)
        for old in self._rows[_MOST:]:
            self._remove(old)
        if message.asks_nothing and message.kind == "note":
            QTimer.singleShot(_WHILE_MS, row, row.close_row)
        self.show()

    def move_on(self) -> None:
        """Take away what is told of things past: the user does the next thing."""
        for row in [row for row in self._rows if row.message.answered or row.message.asks_nothing]:
            self._remove(row)

    def withdraw(self, message: Message) -> None:
        """Take a message away that no longer holds."""
        for row in [row for row in self._rows if row.message is message]:
            self._remove(row)

    def clear(self) -> None:
        """Take all messages away."""
        for row in self.rows:
            self._remove(row)

    def _remove(self, row: MessageRow) -> None:
        if row in self._rows:
            self._rows.remove(row)
            row.hide()
            self._layout.removeWidget(row)
            row.deleteLater()
        self.setVisible(bool(self._rows))


class LastWord:
    """Shows messages of one matter in a bar, each in place of the one before."""

    def __init__(self, messages: MessageBar) -> None:
        self._messages = messages
        self._said: Message | None = None

    def say(self, message: Message | None) -> None:
        """Show a message, or none any more."""
        if self._said is not None:
            self._messages.withdraw(self._said)
        self._said = message
        if message is not None:
            self._messages.show_message(message)
