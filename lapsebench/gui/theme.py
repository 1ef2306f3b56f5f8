"""Dark, light and red themes: one palette and a short stylesheet each, accents from the Okabe-Ito colours."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from PySide6.QtGui import QColor, QPalette
from PySide6.QtWidgets import QApplication


class Theme(StrEnum):
    """The themes; the value is what is stored."""

    DARK = "dark"
    LIGHT = "light"
    RED = "red"


@dataclass(frozen=True, slots=True)
class Colours:
    """Colours of a theme: grounds from back to front, ink, and the colours that mean something."""

    ground: str
    panel: str
    field: str
    line: str
    ink: str
    soft_ink: str
    accent: str
    on_accent: str
    good: str
    caution: str
    bad: str


COLOURS = {
    Theme.DARK: Colours(
        "#12161b",
        "#1a2027",
        "#0d1115",
        "#39434e",
        "#eef2f5",
        "#b9c4ce",
        "#56b4e9",
        "#06131c",
        "#2fc79a",
        "#e69f00",
        "#ff8a4c",
    ),
    Theme.LIGHT: Colours(
        "#eef0f2",
        "#f8f9fa",
        "#ffffff",
        "#b4bdc6",
        "#15191d",
        "#3d4852",
        "#0072b2",
        "#ffffff",
        "#00694b",
        "#8a5a00",
        "#b34700",
    ),
    Theme.RED: Colours(
        "#000000",
        "#0c0000",
        "#000000",
        "#8c1d14",
        "#ff4b3a",
        "#e03a2c",
        "#ff4b3a",
        "#1a0000",
        "#ff4b3a",
        "#ff6a55",
        "#ff6a55",
    ),
}
"""The colours of each theme."""
_LIGHT_GROUND = 128  # lightness from which a ground is light


def apply(app: QApplication, theme: Theme) -> None:
    """Dress the whole application in a theme."""
    app.setStyle("Fusion")
    colours = COLOURS[theme]
    app.setPalette(palette(colours))
    app.setStyleSheet(stylesheet(colours))


def worn(shown: QPalette) -> Theme:
    """Return the theme that a palette is of; of one that is none of ours, dark or light as its ground is."""
    ground = shown.color(QPalette.ColorRole.Window)
    like = Theme.LIGHT if ground.lightness() >= _LIGHT_GROUND else Theme.DARK
    return next((theme for theme, colours in COLOURS.items() if QColor(colours.ground) == ground), like)


def palette(c: Colours) -> QPalette:
    """Return the palette of a theme."""
    role = QPalette.ColorRole
    result = QPalette()
    pairs = {
        role.Window: c.ground,
        role.WindowText: c.ink,
        role.Base: c.field,
        role.AlternateBase: c.panel,
        role.Text: c.ink,
        role.Button: c.panel,
        role.ButtonText: c.ink,
        role.BrightText: c.bad,
        role.ToolTipBase: c.field,
        role.ToolTipText: c.ink,
        role.PlaceholderText: c.soft_ink,
        role.Highlight: c.accent,
        role.HighlightedText: c.on_accent,
        role.Link: c.accent,
        role.Accent: c.accent,
        role.Light: c.line,
        role.Midlight: c.line,
        role.Mid: c.line,
        role.Dark: c.field,
        role.Shadow: c.field,
    }
    for which, colour in pairs.items():
        result.setColor(which, QColor(colour))
    dim = QColor(c.soft_ink)
    dim.setAlphaF(0.75)
    for which in (role.WindowText, role.Text, role.ButtonText):
        result.setColor(QPalette.ColorGroup.Disabled, which, dim)
    return result


def stylesheet(c: Colours) -> str:
    """Return the few rules that a palette can't express."""
    return f"""
    QToolTip {{ color: {c.ink}; background: {c.field}; border: 1px solid {c.line}; padding: 4px; }}
    QSplitter::handle {{ background: {c.ground}; }}
    QSplitter::handle:hover {{ background: {c.accent}; }}
    QScrollArea {{ border: none; background: transparent; }}
    QWidget#panel, QWidget#panelBody {{ background: {c.panel}; }}
    QLabel[soft="true"] {{ color: {c.soft_ink}; }}
    QLabel[caution="true"] {{ color: {c.caution}; }}
    QLabel[heading="true"] {{ font-weight: 600; }}
    QLabel[title="true"] {{ font-size: 21pt; font-weight: 600; }}
    QToolButton#sectionHeader {{ text-align: left; font-weight: 600; border: none; padding: 6px 4px;
        background: transparent; }}
    QToolButton#sectionHeader:hover, QToolButton#sectionHeader:focus {{ color: {c.accent}; }}
    QDialogButtonBox {{ dialogbuttonbox-buttons-have-icons: 0; }}
    QPushButton {{ padding: 5px 12px; border: 1px solid {c.line}; border-radius: 5px; background: {c.ground}; }}
    QPushButton:hover, QPushButton:focus {{ border-color: {c.accent}; }}
    QPushButton:pressed {{ background: {c.field}; }}
    QPushButton:checked {{ background: {c.accent}; color: {c.on_accent}; border-color: {c.accent}; }}
    QPushButton:disabled {{ background: {c.panel}; }}
    QPushButton[segment="true"] {{ padding: 3px 8px; }}
    QPushButton[primary="true"] {{ background: {c.accent}; color: {c.on_accent}; font-weight: 600; padding: 9px 12px;
        border-color: {c.accent}; }}
    QPushButton[primary="true"]:focus {{ border: 2px solid {c.ink}; }}
    QPushButton[primary="true"]:disabled {{ background: {c.panel}; color: {c.soft_ink}; border-color: {c.line}; }}
    QToolButton {{ border: 1px solid transparent; border-radius: 5px; padding: 3px; }}
    QToolButton:hover, QToolButton:focus {{ border-color: {c.accent}; }}
    QToolButton:checked {{ background: {c.field}; border-color: {c.line}; }}
    QToolButton[lit="true"]:checked {{ background: {c.accent}; color: {c.on_accent}; }}
    QToolButton#sectionHeader:checked {{ background: transparent; border: none; }}
    QFrame[rule="true"] {{ background: {c.line}; border: none; max-height: 1px; }}
    QListView {{ border: 1px solid {c.line}; border-radius: 5px; outline: none; }}
    QListView::item {{ padding: 3px; }}
    QListView:focus {{ border-color: {c.accent}; }}
    QListView#shots {{ border-color: {c.panel}; background: {c.panel}; }}
    QListView#shots:focus {{ border-color: {c.accent}; }}
    QListView#shots::item {{ border-radius: 5px; }}
    QListView#shots::item:selected {{ background: {c.line}; color: {c.ink}; }}
    QListView::indicator:unchecked, QCheckBox::indicator:unchecked {{ border: 1px solid {c.soft_ink}; border-radius: 3px;
        background: {c.field}; }}
    QListView::indicator:unchecked:disabled, QCheckBox::indicator:unchecked:disabled {{ border-color: {c.line}; }}
    QProgressBar {{ border: 1px solid {c.line}; border-radius: 4px; background: {c.field};
        max-height: 12px; }}
    QProgressBar::chunk {{ background: {c.accent}; border-radius: 3px; }}
    QFrame#message {{ background: {c.field}; border: 1px solid {c.line}; border-left: 5px solid {c.accent};
        border-radius: 5px; }}
    QFrame#message[kind="problem"] {{ border-left-color: {c.bad}; }}
    QFrame#message[kind="caution"] {{ border-left-color: {c.caution}; }}
    QFrame#message[kind="done"] {{ border-left-color: {c.good}; }}
    """
