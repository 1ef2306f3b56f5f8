"""The part of section Picture that sets the look of a shot's film: by a name, by sliders, by a look-up table."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QComboBox, QGridLayout, QWidget

from lapsebench.core.look import Look, LookPreset, look_preset_of, with_look_preset
from lapsebench.gui.commands import change_shot
from lapsebench.gui.jobs import Job, Jobs
from lapsebench.gui.parts import push_button
from lapsebench.gui.sections.base import Section
from lapsebench.gui.sections.lookgroups import LookGroup, LookSlider, TableGroup
from lapsebench.gui.sections.lookwords import LookWords
from lapsebench.gui.session import Session
from lapsebench.services.finish import finish_of

_PRESETS = (None, *LookPreset)
"""The looks of the list in order, None is plain; the user's own comes after them."""


class LookBox(Section):
    """A look by its name, four groups of controls, and the way to other shots; closed, it says the look's name."""

    failed = Signal(object)

    def __init__(self, session: Session, jobs: Jobs, parent: QWidget | None = None) -> None:
        super().__init__("", "look", parent)
        self.title = self.tr("Look")
        self.header.setText(self.title)
        self.header.setAccessibleName(self.title)
        self.content.setContentsMargins(4, 0, 0, 6)
        self._session, self._jobs, self._words = session, jobs, LookWords(self)
        self._copied: Look | None = None
        self.kind = self._kinds()
        self.colour = self._group(self.tr("Colour"), "colour", ("warmth", "tint", "saturation"))
        self.light = self._group(self.tr("Tone"), "light", ("exposure", "contrast", "highlights", "shadows"))
        self.detail = self._group(self.tr("Detail"), "detail", ("noise", "star_care", "sharpen"))
        self.table = TableGroup(self.tr("Table"), self.tr("Table of the look"), self._words, self)
        self.copy, self.paste, self.everywhere = (
            push_button(text, self) for text in (self.tr("Copy look"), self.tr("Paste look"), self.tr("Use for all shots"))
        )
        self._lay_out()
        self._connect()
        self.refresh()

    @property
    def groups(self) -> list[LookGroup]:
        """The groups in order."""
        return [self.colour, self.light, self.detail, self.table]

    def refresh(self) -> None:
        """Show the look of the playhead's shot."""
        shots, shot = self._session.project.shots, self._session.shot
        look = Look() if shot is None else shot.look
        self.body.setEnabled(shot is not None)
        self._show_kind(_place(look))
        for group in self.groups:
            group.show_look(look)
        self.paste.setEnabled(self._copied not in (None, look))
        self.everywhere.setEnabled(any(other.look != look for other in shots))
        table = "" if look.lut is None else f", {Path(look.lut).name}"
        self.summarise(self._words.look(look) + table)

    def _show_kind(self, place: int) -> None:
        """Show the place of the look in the list, which names the user's own only while it is the shot's."""
        if place == len(_PRESETS) == self.kind.count():
            self.kind.addItem(self.tr("Own"))
        self.kind.setCurrentIndex(place)
        if place < len(_PRESETS) < self.kind.count():
            self.kind.removeItem(len(_PRESETS))

    # -- making the controls

    def _kinds(self) -> QComboBox:
        kind = QComboBox(self)
        kind.setAccessibleName(self.tr("Look of the shot"))
        for place, preset in enumerate(_PRESETS):
            kind.addItem(self._words.preset(preset))
            kind.setItemData(place, self._words.preset_hint(preset), Qt.ItemDataRole.ToolTipRole)
        kind.setToolTip(self.tr("Looks by name; exposure and table stay, but Plain puts all back"))
        kind.activated.connect(self._chosen)
        return kind

    def _group(self, title: str, key: str, fields: tuple[str, ...]) -> LookGroup:
        spoken = self.tr("{0} of the look").format(title)
        return LookGroup(title, spoken, f"look-{key}", [LookSlider(field, self._words) for field in fields], self)

    def _lay_out(self) -> None:
        self.content.addWidget(self.kind)
        for group in self.groups:
            self.content.addWidget(group)
        grid = QGridLayout()
        grid.setSpacing(4)
        grid.addWidget(self.copy, 0, 0)
        grid.addWidget(self.paste, 0, 1)
        grid.addWidget(self.everywhere, 1, 0, 1, 2)
        self.content.addLayout(grid)

    def _connect(self) -> None:
        session = self._session
        for group in self.groups:
            for slider in group.sliders:
                slider.moved.connect(self._mover(slider))
                slider.taken.connect(session.hold_gesture)
                slider.released.connect(session.end_gesture)
        self.table.wanted.connect(self._read)
        self.table.removed.connect(lambda: self._set(self.tr("Remove the look-up table"), lut=None, lut_share=100.0))
        self.copy.clicked.connect(self._copy)
        self.paste.clicked.connect(self._paste)
        self.everywhere.clicked.connect(self._use_everywhere)
        for signal in (session.project_changed, session.surveyed, session.shot_changed, session.opened):
            signal.connect(self.refresh)

    # -- edits

    def _chosen(self, index: int) -> None:
        shot = self._session.shot
        if shot is not None and index < len(_PRESETS):
            preset = _PRESETS[index]
            self._edit(self.kind.itemText(index), Look() if preset is None else with_look_preset(shot.look, preset))

    def _mover(self, slider: LookSlider) -> Callable[[], None]:
        text = self.tr("{0} of the look").format(slider.name)
        return lambda: self._set(text, merge=f"look {slider.field}", **{slider.field: slider.value})

    def _read(self, path: Path) -> None:
        """Read a look-up table and set it for the shot that it was chosen in; one that can't be used is told."""
        shot = self._session.shot
        if shot is None:
            return
        job = Job(self.tr("Reading {0}").format(path.name), lambda _job: finish_of(Look(lut=str(path))))
        job.finished.connect(lambda _finish: self._take(shot.first, path))
        job.failed.connect(self.failed)
        self._jobs.start(job)

    def _take(self, first: int, path: Path) -> None:
        """Set what was read if its shot is still there; it may be shown no more."""
        for index, shot in enumerate(self._session.project.shots):
            if shot.first == first:
                look = replace(shot.look, lut=str(path), lut_share=shot.look.lut_share or 100.0)
                self._session.edit(self.tr("Choose a look-up table"), change_shot(index, look=look))

    def _set(self, text: str, *, merge: str | None = None, **changes: Any) -> None:
        shot = self._session.shot
        if shot is not None:
            self._edit(text, replace(shot.look, **changes), merge=merge)

    def _edit(self, text: str, look: Look, *, merge: str | None = None) -> None:
        index = self._session.shot_index
        self._session.edit(text, change_shot(index, look=look), merge=None if merge is None else f"{merge} {index}")

    # -- other shots

    def _copy(self) -> None:
        shot = self._session.shot
        self._copied = None if shot is None else shot.look
        self.refresh()

    def _paste(self) -> None:
        if self._copied is not None:
            self._edit(self.tr("Paste a look"), self._copied)

    def _use_everywhere(self) -> None:
        shot = self._session.shot
        if shot is None:
            return
        look = shot.look
        self._session.edit(
            self.tr("Use the look for all shots"),
            lambda project: replace(project, shots=tuple(replace(each, look=look) for each in project.shots)),
        )


def _place(look: Look) -> int:
    """Return where a look is in the list."""
    preset = look_preset_of(look)
    if look.is_plain:
        return 0
    return len(_PRESETS) if preset is None else _PRESETS.index(preset)
