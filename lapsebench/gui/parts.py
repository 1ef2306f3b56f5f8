"""Small widgets made alike everywhere: buttons, labels with their control, lists, soft words."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QAbstractItemView, QFrame, QLabel, QPushButton, QWidget


def push_button(text: str, parent: QWidget, *, spoken: str = "", checkable: bool = False) -> QPushButton:
    """Return a button that a click doesn't give the focus to, so that Space goes on playing; `spoken` is its full name."""
    button = QPushButton(text, parent)
    button.setCheckable(checkable)
    button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
    button.setAccessibleName(spoken or text.replace("&", ""))
    return button


def label_for(text: str, control: QWidget, parent: QWidget) -> QLabel:
    """Return the label of a control; its mnemonic goes to the control."""
    label = QLabel(text, parent)
    label.setBuddy(control)
    return label


def soft_label(parent: QWidget, text: str = "") -> QLabel:
    """Return a label for what is worth knowing but not first."""
    label = QLabel(text, parent, wordWrap=True, textFormat=Qt.TextFormat.PlainText)
    label.setProperty("soft", True)
    return label


def rule(parent: QWidget) -> QFrame:
    """Return a thin line across a panel."""
    line = QFrame(parent)
    line.setProperty("rule", True)
    line.setFixedHeight(1)
    return line


def single_choice(view: QAbstractItemView, name: str) -> None:
    """Let one row of a list be chosen."""
    view.setAccessibleName(name)
    view.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
    view.setAcceptDrops(False)
