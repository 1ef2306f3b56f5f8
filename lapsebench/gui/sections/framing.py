"""The part of section Picture that chooses what the film shows of a shot: its frame, a slow move, straightening."""

from __future__ import annotations

from dataclasses import replace

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QCheckBox, QVBoxLayout, QWidget

from lapsebench.core.sequence import Frame
from lapsebench.core.view import MOST_TURN_DEG, Aim, View
from lapsebench.gui.commands import change_shot, frame_all_alike
from lapsebench.gui.frame_grips import Ground
from lapsebench.gui.framelayer import FrameLayer
from lapsebench.gui.parts import button_row, push_button, soft_label
from lapsebench.gui.sections.base import NamedSlider
from lapsebench.gui.session import Session
from lapsebench.services.filmpart import FilmShape, film_shape

_STEPS = 10  # of straightening, a degree
_ENLARGED = 1.005


class FramingBox(QWidget):
    """Switches the frame in the picture on, and keeps it on the playhead's shot."""

    def __init__(self, session: Session, layer: FrameLayer, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session, self._layer = session, layer
        self._at_end = self._dragging = False
        self.switch = self._check(self.tr("Frame in the picture"))
        self.switch.setToolTip(self.tr("Drag in the picture what the film shows; its shape is chosen in section Film"))
        self.moves = self._check(self.tr("Pan and zoom to an end"))
        self.moves.setToolTip(self.tr("The film moves slowly from the start's frame to the end's, over all of the shot"))
        self.start = push_button(self.tr("Start"), self, spoken=self.tr("Frame the start of the shot"), checkable=True)
        self.end = push_button(self.tr("End"), self, spoken=self.tr("Frame the end of the shot"), checkable=True)
        span = round(MOST_TURN_DEG * _STEPS)
        self.turn = NamedSlider(self.tr("Straighten"), (-span, span), self._turn_words, self)
        self.reset = push_button(self.tr("Back to all"), self, spoken=self.tr("Back to all of the picture"))
        self.share = push_button(self.tr("Use for all shots"), self, spoken=self.tr("Use this framing for all shots"))
        self.told = soft_label(self)
        self._lay_out()
        self._connect()
        self.refresh()

    def refresh(self) -> None:
        """Show the framing of the playhead's shot."""
        session, shot = self._session, self._session.shot
        view = View() if shot is None else shot.view
        frame, shape = self._frame(), film_shape(session.project, session.used)
        part = shape.part(frame, view, 0.0) if frame is not None and shape is not None else None
        if self.switch.isChecked() and part is None:
            self.switch.setChecked(False)
        for widget in (self.switch, self.moves, self.turn):
            widget.setEnabled(part is not None)
        self.moves.setChecked(view.end is not None)
        self._at_end = self._at_end and view.end is not None
        for button, at_end in ((self.start, False), (self.end, True)):
            button.setVisible(view.end is not None)
            button.setChecked(self._at_end is at_end)
        self.turn.set_value(round(view.turn_deg * _STEPS))
        self.reset.setEnabled(view != View())
        self.share.setEnabled(any(other.view != view for other in session.project.shots))
        self.told.setText("")
        if frame is not None and shape is not None:
            self.told.setText(self._words(shape, frame, view))
            source = frame.width, frame.height
            self._layer.show_frame(view, Ground(source, shape.ratio, view.turn_deg), at_end=self._at_end)
        self.told.setVisible(bool(self.told.text()))

    def _check(self, text: str) -> QCheckBox:
        box = QCheckBox(text, self)
        box.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        box.setAccessibleName(text)
        return box

    def _lay_out(self) -> None:
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 4, 0, 4)
        column.setSpacing(6)
        column.addWidget(self.switch)
        column.addWidget(self.moves)
        column.addLayout(button_row(self.start, self.end))
        column.addWidget(self.turn)
        column.addLayout(button_row(self.reset, self.share))
        column.addWidget(self.told)

    def _connect(self) -> None:
        session, layer = self._session, self._layer
        self.switch.toggled.connect(self._turn_on)
        self.moves.clicked.connect(self._move)
        self.start.clicked.connect(lambda: self._choose(at_end=False))
        self.end.clicked.connect(lambda: self._choose(at_end=True))
        self.turn.moved.connect(self._straighten)
        self.turn.taken.connect(session.hold_gesture)
        self.turn.taken.connect(lambda: layer.set_grid(True))
        self.turn.released.connect(session.end_gesture)
        self.turn.released.connect(lambda: layer.set_grid(False))
        self.reset.clicked.connect(lambda: self._edit(View()))
        self.share.clicked.connect(self._use_for_all)
        layer.changed.connect(self._change)
        layer.left.connect(self._leave)
        for signal in (session.project_changed, session.surveyed, session.opened):
            signal.connect(self.refresh)
        session.shot_changed.connect(self._other_shot)

    def _frame(self) -> Frame | None:
        """Return a frame of the shot whose size is known."""
        session = self._session
        frames = [session.project.frames[number] for number in (session.shot.frames if session.shot else ())]
        return next((frame for frame in frames if frame.width), None)

    # -- what is done

    def _turn_on(self, on: bool) -> None:
        self._layer.set_on(on)
        if on:
            self._layer.setFocus(Qt.FocusReason.OtherFocusReason)

    def _leave(self) -> None:
        self.switch.setChecked(False)
        self.switch.setFocus()

    def _choose(self, *, at_end: bool) -> None:
        """Frame the start or the end, on the first or last picture of the shot that the film has."""
        self._at_end = at_end
        numbers = self._session.used_in_shot()
        if numbers:
            self._session.move_to(numbers[-1] if at_end else numbers[0])
        self.refresh()

    def _move(self, moves: bool) -> None:
        shot = self._session.shot
        if shot is not None:
            if moves and not self.switch.isChecked():
                self.switch.click()
            self._edit(replace(shot.view, end=shot.view.start if moves else None))
            self._choose(at_end=moves)

    def _straighten(self, step: int) -> None:
        shot = self._session.shot
        if shot is not None:
            self._edit(replace(shot.view, turn_deg=step / _STEPS), merge="straighten")

    def _change(self, aim: Aim, over: bool) -> None:
        shot = self._session.shot
        if shot is None:
            return
        if self._layer.held and not self._dragging:
            self._dragging = True
            self._session.hold_gesture()
        self._edit(replace(shot.view, end=aim) if self._at_end else replace(shot.view, start=aim), merge="frame")
        if over:
            self._end_drag()

    def _other_shot(self) -> None:
        """End a drag whose shot is shown no more."""
        self._layer.let_go()
        self._end_drag()
        self.refresh()

    def _end_drag(self) -> None:
        if self._dragging:
            self._dragging = False
            self._session.end_gesture()

    def _use_for_all(self) -> None:
        shot = self._session.shot
        if shot is not None:
            self._session.edit(self.tr("Frame all shots alike"), frame_all_alike(shot.view))

    def _edit(self, view: View, *, merge: str | None = None) -> None:
        edit = change_shot(self._session.shot_index, view=view)
        self._session.edit(self.tr("Change what the film shows"), edit, merge=merge)

    # -- words

    def _words(self, shape: FilmShape, frame: Frame, view: View) -> str:
        parts = [shape.part(frame, view, share) for share in (0.0, 1.0)]
        shown = [part for part in parts if part is not None]
        if not shown:
            return self.tr("These pictures go into the film whole, on black.")
        whole = frame.width * frame.height
        first, last = (round(100 * part.width * part.height / whole) for part in (shown[0], shown[-1]))
        told = self.tr("Shows {0} % of the picture.").format(first)
        if view.end is not None:
            told = self.tr("Shows {0} % of the picture at the start and {1} % at the end.").format(first, last)
        most = max(shape.enlarged(part) for part in shown)
        if most <= _ENLARGED:
            return told
        return self.tr("{0} Enlarged {1} ×: choose a smaller size or frame more.").format(told, f"{most:.1f}")

    def _turn_words(self, step: int) -> str:
        return self.tr("{0}°").format(f"{step / _STEPS:+.1f}".replace("-", "−") if step else "0")
