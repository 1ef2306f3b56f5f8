"""The row below the picture: play, step, loop, in and out, and where in the night and in the film we are."""

from __future__ import annotations

from bisect import bisect_left

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QAction, QResizeEvent
from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QToolButton, QWidget

from lapsebench.core.bodies import taken_of
from lapsebench.gui.icons import icon
from lapsebench.gui.parts import push_button
from lapsebench.gui.session import Session
from lapsebench.gui.theme import Colours
from lapsebench.gui.words import Words

_NARROWEST = 440


class Transport(QWidget):
    """Shows the play actions as buttons, and the playhead in numbers."""

    def __init__(
        self, session: Session, actions: dict[str, QAction], sides: list[QAction], parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self._session, self._words = session, Words(self)
        self._buttons = {name: self._button(action) for name, action in actions.items()}
        self._colours: Colours | None = None
        self._playing = False
        self.counter = self._label(self.tr("Frame in the shot"), "0 / 0", 84)
        self.clock = self._label(self.tr("Clock time"), "00:00:00", 70)
        self.film_time = self._label(self.tr("Film time"), "0:00.00 / 0:00.00", 124)
        self.rate = self._label(self.tr("Frames per second"), "", 60)
        layout = QHBoxLayout(self)
        layout.setContentsMargins(4, 2, 4, 2)
        layout.setSpacing(2)
        for button in self._buttons.values():
            layout.addWidget(button)
        layout.addStretch(1)
        for side in sides:
            layout.addWidget(self._side_button(side))
        layout.addStretch(1)
        for label in (self.counter, self.clock, self.film_time, self.rate):
            layout.addSpacing(6)
            layout.addWidget(label)
        for signal in (session.playhead_changed, session.project_changed, session.opened):
            signal.connect(self.refresh)

    def minimumSizeHint(self, /) -> QSize:
        """Return a width at which the clocks make room for the buttons."""
        hint = super().minimumSizeHint()
        return QSize(_NARROWEST, hint.height())

    def resizeEvent(self, event: QResizeEvent, /) -> None:
        """Leave out what the strip or the film section tells too, where the row is narrow."""
        super().resizeEvent(event)
        room = event.size().width()
        for label, width in ((self.rate, 700), (self.clock, 640), (self.film_time, 570)):
            label.setVisible(room >= width)

    def set_colours(self, colours: Colours) -> None:
        """Draw the icons in the inks of a theme."""
        self._colours = colours
        for name in self._buttons:
            self._draw(name)

    def set_playing(self, playing: bool) -> None:
        """Show the pause icon while the film runs."""
        self._playing = playing
        self._draw("play")

    def show_speed(self, speed: int) -> None:
        """Show a speed other than 1 beside the rate."""
        self.refresh()
        if speed not in (0, 1):
            self.rate.setText(self.tr("× {0}").format(str(speed).replace("-", "−")))

    def refresh(self) -> None:
        """Show where the playhead is."""
        session, shot = self._session, self._session.shot
        if shot is None or session.frame is None:
            return
        self.counter.setText(f"{session.playhead - shot.first + 1} / {len(shot.frames)}")
        self.clock.setText(self._words.clock(taken_of(session.frame, session.project.clocks)))
        fps = float(session.project.film.fps)
        place = bisect_left(session.used, session.playhead)
        self.film_time.setText(f"{_film_clock(place / fps)} / {_film_clock(len(session.used) / fps)}")
        self.rate.setText(self.tr("{0} fps").format(self._words.rate(session.project.film.fps)))

    def _draw(self, name: str) -> None:
        if self._colours is not None:
            shape = "pause" if name == "play" and self._playing else name
            self._buttons[name].setIcon(icon(shape, self._colours, self.devicePixelRatioF()))

    def _button(self, action: QAction) -> QToolButton:
        button = QToolButton(self)
        button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        button.setIconSize(QSize(20, 20))
        button.setProperty("lit", True)
        button.setCheckable(action.isCheckable())
        button.setChecked(action.isChecked())
        name = action.text().split("\t")[0].replace("&", "")
        key = action.text().partition("\t")[2] or action.shortcut().toString()
        button.setAccessibleName(name)
        button.setToolTip(f"{name} ({key})" if key else name)
        if action.isCheckable():
            button.toggled.connect(action.setChecked)
            action.toggled.connect(button.setChecked)
        else:
            button.clicked.connect(action.trigger)
        return button

    def _side_button(self, action: QAction) -> QPushButton:
        name = action.text().replace("&", "")
        button = push_button(name, self, spoken=self.tr("Show: {0}").format(name), checkable=True)
        button.setChecked(action.isChecked())
        button.setToolTip(self.tr("Show: {0} ({1})").format(name, action.shortcut().toString()))
        button.setProperty("segment", True)
        button.clicked.connect(action.trigger)
        action.toggled.connect(button.setChecked)
        return button

    def _label(self, name: str, text: str, width: int) -> QLabel:
        label = QLabel(text, self, alignment=Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        label.setMinimumWidth(width)
        label.setAccessibleName(name)
        label.setToolTip(name)
        return label


def _film_clock(seconds: float) -> str:
    return f"{int(seconds // 60)}:{seconds % 60:05.2f}"
