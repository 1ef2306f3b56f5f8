"""Every action of the window, once, with its words and keys; menus and buttons are made of these."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QObject
from PySide6.QtGui import QAction, QActionGroup, QKeySequence

Slot = Callable[..., object]
Key = QKeySequence | QKeySequence.StandardKey | str | None


class Actions(QObject):
    """A named set of actions."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._actions: dict[str, QAction] = {}

    def __getitem__(self, name: str) -> QAction:
        return self._actions[name]

    def names(self) -> list[str]:
        """Return the names of all actions, in the order they were made."""
        return list(self._actions)

    def add(self, name: str, text: str, slot: Slot, key: Key = None, *, spoken: str = "") -> QAction:
        """Make an action. `spoken` is a key that a focused control may need first, and so is no shortcut of the window."""
        action = QAction(f"{text}\t{spoken}" if spoken else text, self)
        if key is not None:
            action.setShortcut(QKeySequence(key))
        action.triggered.connect(lambda _checked=False: slot())
        self._actions[name] = action
        return action

    def add_switch(self, name: str, text: str, slot: Slot, key: Key = None, *, on: bool = False) -> QAction:
        """Make an action that is on or off; `slot` is told which."""
        action = QAction(text, self, checkable=True, checked=on)
        if key is not None:
            action.setShortcut(QKeySequence(key))
        action.toggled.connect(slot)
        self._actions[name] = action
        return action

    def add_choice(self, names: dict[str, str], slot: Slot, chosen: str, keys: tuple[str, ...] = ()) -> QActionGroup:
        """Make actions of which one is on; `names` maps a name to its text; `slot` is told the chosen name."""
        group = QActionGroup(self)
        for i, (name, text) in enumerate(names.items()):
            action = QAction(text, self, checkable=True, checked=name == chosen)
            if i < len(keys):
                action.setShortcut(QKeySequence(keys[i]))
            group.addAction(action)
            action.triggered.connect(lambda _checked=False, name=name: slot(name))
            self._actions[name] = action
        return group

    def adopt(self, name: str, action: QAction, key: Key) -> None:
        """Take over an action made elsewhere."""
        action.setShortcut(QKeySequence(key) if key is not None else QKeySequence())
        self._actions[name] = action
