"""The part of section Frames that sets the clocks of several cameras by each other: by hand, by one moment, by the light."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QLineEdit, QVBoxLayout, QWidget

from lapsebench.core.bodies import (
    Body,
    bodies_of,
    body_names,
    body_of,
    offset_from,
    offset_s,
    offset_text,
    same_moment_s,
    taken_of,
    with_offset,
)
from lapsebench.gui.commands import change_clocks
from lapsebench.gui.parts import label_for, push_button, soft_label
from lapsebench.gui.session import Session
from lapsebench.gui.words import Words
from lapsebench.services.clocks import ClockProposal, clock_proposals


class OffsetField(QLineEdit):
    """Takes what is added to a clock; Escape takes back what was typed."""

    given = Signal(float)
    wrong = Signal(str)

    def __init__(self, name: str, parent: QWidget) -> None:
        super().__init__(parent)
        self._shown = ""
        self.setAccessibleName(self.tr("Added to the times of {0}").format(name))
        self.setToolTip(self.tr("Hours, minutes and seconds added to the times of {0}, such as +1:00:00.0").format(name))
        self.setAlignment(Qt.AlignmentFlag.AlignRight)
        self.setFixedWidth(104)
        self.editingFinished.connect(self._read)

    def show_offset(self, seconds: float) -> None:
        """Show an offset."""
        self._shown = offset_text(seconds)
        self.setText(self._shown)

    def keyPressEvent(self, event: QKeyEvent, /) -> None:
        """Go back to what was shown on Escape."""
        if event.key() == Qt.Key.Key_Escape and self.text() != self._shown:
            self.setText(self._shown)
            return
        super().keyPressEvent(event)

    def _read(self) -> None:
        typed = self.text()
        if typed == self._shown:
            return
        try:
            seconds = offset_from(typed)
        except ValueError:
            self.setText(self._shown)
            self.wrong.emit(typed)
        else:
            self.given.emit(seconds)


class ClocksBox(QWidget):
    """One row a camera, and the two ways to find an offset; hidden while all frames are by one camera."""

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session, self._words = session, Words(self)
        self._bodies: list[Body] = []
        self._names: dict[Body, str] = {}
        self.fields: dict[Body, OffsetField] = {}
        self._clocks = session.project.clocks
        self._marked: int | None = None
        self._offered: tuple[ClockProposal, ...] = ()
        self._rows = QWidget(self)
        self._grid = QGridLayout(self._rows)
        self._grid.setContentsMargins(0, 0, 0, 0)
        self._grid.setColumnStretch(0, 1)
        self.moment, self.light, self.apply, self.drop = (push_button("", self) for _ in range(4))
        self.told = soft_label(self)
        self._lay_out()
        self.moment.clicked.connect(self._on_moment)
        self.light.clicked.connect(self._propose)
        self.apply.clicked.connect(self._take)
        self.drop.clicked.connect(self.forget)
        session.opened.connect(self.forget)
        session.project_changed.connect(self.refresh)
        session.surveyed.connect(self.refresh)
        session.playhead_changed.connect(self._show_state)
        self.refresh()

    def refresh(self) -> None:
        """Show the clocks of the project as it is now."""
        bodies = bodies_of(self._session.project.frames)
        if bodies != self._bodies:
            self._bodies, self._names = bodies, body_names(bodies)
            self._fill()
        if self._session.project.clocks != self._clocks:
            self._clocks = self._session.project.clocks
            self._offered = ()
            self.told.setText("")
        for body, field in self.fields.items():
            field.show_offset(offset_s(self._session.project.clocks, body))
        self.setVisible(len(bodies) > 1)
        self._show_state()

    def forget(self) -> None:
        """Let go of a marked frame and of what was offered."""
        self._marked, self._offered = None, ()
        self.told.setText("")
        self._show_state()

    # -- how it is laid out

    def _lay_out(self) -> None:
        title = soft_label(self, self.tr("Clocks: what is added to each camera's times"))
        self.light.setText(self.tr("Propose from the light"))
        self.light.setAccessibleName(self.light.text())
        self.apply.setText(self.tr("Apply"))
        self.apply.setAccessibleName(self.tr("Apply the proposed clocks"))
        self.apply.setToolTip(self.tr("Set the clocks as proposed; it can be undone"))
        self.drop.setText(self.tr("Leave it"))
        self.drop.setAccessibleName(self.tr("Leave the clocks as they are"))
        self.drop.setToolTip(self.tr("Leave the clocks as they are (a marked frame is let go)"))
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 4, 0, 4)
        layout.setSpacing(4)
        pair = QHBoxLayout()
        for button in (self.apply, self.drop):
            pair.addWidget(button)
        pair.addStretch(1)
        for widget in (title, self._rows, self.moment, self.light, self.told):
            layout.addWidget(widget)
        layout.addLayout(pair)

    def _fill(self) -> None:
        while (item := self._grid.takeAt(0)) is not None:
            if (widget := item.widget()) is not None:
                widget.hide()
                widget.deleteLater()
        self.fields = {}
        for row, body in enumerate(self._bodies if len(self._bodies) > 1 else ()):
            field = self.fields[body] = OffsetField(self._names[body], self._rows)
            field.given.connect(lambda seconds, body=body: self._set(body, seconds))
            field.wrong.connect(self._refuse)
            label = label_for(self._names[body].replace("&", "&&"), field, self._rows)
            label.setWordWrap(True)
            self._grid.addWidget(label, row, 0)
            self._grid.addWidget(field, row, 1)

    def _show_state(self) -> None:
        """Name the buttons by what they do next, and say why one can't be pressed."""
        frames, known = self._session.project.frames, self._session.survey is not None
        if self._marked is not None and self._marked >= len(frames):
            self._marked = None
        marking = self._marked is not None
        self.moment.setText(self.tr("Same moment here") if marking else self.tr("Same moment…"))
        self.moment.setAccessibleName(self.moment.text())
        hint = self._why_not()
        self.moment.setEnabled(not hint)
        self.moment.setToolTip(hint or self._moment_hint(marking))
        self.light.setEnabled(known)
        ready = self.tr("Find how far the clocks are apart from how the light changed; nothing is set before you say so")
        self.light.setToolTip(ready if known else self.tr("Wait until the frames are measured"))
        self.apply.setVisible(bool(self._offered))
        self.drop.setVisible(bool(self._offered) or marking)
        self.told.setVisible(bool(self.told.text()))

    def _moment_hint(self, marking: bool) -> str:
        if marking:
            return self.tr("Set this camera's clock so that this frame and the marked one were taken at the same time")
        return self.tr("Mark this frame, then show the same moment in another camera's frames")

    def _why_not(self) -> str:
        """Return why the playhead's frame can't be one of the same moment; nothing where it can."""
        frame = self._session.frame
        if frame is None or frame.taken is None or body_of(frame) is None:
            return self.tr("This frame tells no camera or no time")
        if self._marked is not None and body_of(frame) == body_of(self._session.project.frames[self._marked]):
            return self.tr("Go to a frame of another camera first")
        return ""

    # -- what is done

    def _set(self, body: Body, seconds: float) -> None:
        self._session.edit(self.tr("Set a camera's clock"), change_clocks({body: seconds}))

    def _refuse(self, typed: str) -> None:
        self.told.setText(self.tr("“{0}” is no offset such as +1:00:00 or −0:00:12.5.").format(typed))
        self._show_state()

    def _on_moment(self) -> None:
        session, here = self._session, self._session.playhead
        if self._marked is None:
            self.forget()
            self._marked = here
            words = self.tr("Marked: {0}. Now show the same moment in another camera's frames and press “Same moment here”.")
            self.told.setText(words.format(self._spoken(here)))
            self._show_state()
            return
        body = body_of(session.project.frames[here])
        seconds = same_moment_s(session.project.frames, session.project.clocks, self._marked, here)
        self.forget()
        if body is None or seconds is None:
            return
        try:
            with_offset((), body, seconds)
        except ValueError:
            self.told.setText(self.tr("These frames are more than a year apart by their clocks."))
        else:
            self._set(body, seconds)
            self.told.setText(self.tr("{0}: {1} is added.").format(self._names[body], offset_text(seconds)))
        self._show_state()

    def _spoken(self, number: int) -> str:
        project = self._session.project
        frame = project.frames[number]
        return f"{frame.name}, {self._words.clock(taken_of(frame, project.clocks))}"

    def _propose(self) -> None:
        session = self._session
        self.forget()
        if session.survey is None:
            return
        told = clock_proposals(session.survey, session.project)
        self._offered = tuple(each for each in told if not each.right)
        unclear = [body for body in self._bodies[1:] if body not in {each.body for each in told}]
        lines = [self._offer(each) for each in told]
        lines += [self.tr("{0}: the light tells no clear offset.").format(self._names[body]) for body in unclear]
        self.told.setText("\n".join(lines))
        self._show_state()

    def _offer(self, told: ClockProposal) -> str:
        names, error = self._names, max(round(2 * told.proposal.error_s), 1)
        if told.right:
            words = self.tr("{0} goes with {1} as it is, give or take {2} s.")
            return words.format(names[told.body], names[told.reference], error)
        words = self.tr("{0} goes with {1} when {2} is added, give or take {3} s ({4} % alike).")
        alike = round(100 * told.proposal.likeness)
        return words.format(names[told.body], names[told.reference], offset_text(told.offset_s), error, alike)

    def _take(self) -> None:
        offsets = {each.body: each.offset_s for each in self._offered}
        self.forget()
        self._session.edit(self.tr("Set clocks by the light"), change_clocks(offsets))
