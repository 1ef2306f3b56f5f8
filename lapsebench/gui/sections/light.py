"""Section Light: how the light is evened."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from PySide6.QtCore import QSignalBlocker, Qt
from PySide6.QtWidgets import QCheckBox, QGridLayout, QHBoxLayout, QListWidget, QListWidgetItem, QPushButton, QWidget

from lapsebench.core.filmlight import Peg
from lapsebench.core.presets import Preset, preset_of, with_preset
from lapsebench.gui.commands import change_light, remove_peg
from lapsebench.gui.parts import label_for, push_button, single_choice, soft_label
from lapsebench.gui.sections.base import NamedSlider, Section
from lapsebench.gui.sections.measuring import Measuring
from lapsebench.gui.session import Session
from lapsebench.gui.words import Words

_STEPS_PER_SECOND = 10
_STEPS_PER_STOP = 20
_MOST_PEGS = 4  # seen at once


class LightSection(Section):
    """Evening on or off, sky changes, ramp length, flicker, colour, brightness, the pegs, and how light is measured."""

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__("", "light", parent)
        self.title = self.tr("Light")
        self.header.setText(self.title)
        self.header.setAccessibleName(self.title)
        self._session, self._words = session, Words(self)
        self.even = self._check(self.tr("Even the ligh&t"), "even")
        self.content.addLayout(self._presets())
        self.sky = self._slider(self.tr("&Keep sky changes"), (0, 100), self._percent, self._sky_moved)
        self.ramp = self._slider(self.tr("&Ramp length, film time"), (5, 200), self._ramp_text, self._ramp_moved)
        self.brightness = self._slider(self.tr("&Brightness of the film"), (-60, 60), self._stops, self._brightness_moved)
        self.flicker = self._check(self.tr("Take out f&licker of the camera"), "flicker")
        self.colour = self._check(self.tr("Even the &colour"), "colour")
        self.colour.setToolTip(self.tr("Takes out what the camera's white balance did; the sky's colours stay."))
        self.steepest = soft_label(self)
        self.content.addWidget(self.steepest)
        self._add_pegs()
        self.measuring = Measuring(session, self)
        self.content.addWidget(self.measuring)
        session.film_light_changed.connect(self._tell_steepest)
        session.project_changed.connect(self.refresh)
        self.refresh()

    def refresh(self) -> None:
        """Show the settings of the project."""
        light = self._session.project.light
        for box, on in ((self.even, light.even), (self.flicker, light.flicker), (self.colour, light.colour)):
            with QSignalBlocker(box):
                box.setChecked(on)
        self.sky.set_value(round(light.sky_kept * 100))
        self.ramp.set_value(round(light.ramp_s * _STEPS_PER_SECOND))
        self.brightness.set_value(round(light.brightness_ev * _STEPS_PER_STOP))
        for widget in (self.sky, self.ramp, self.flicker, self.colour):
            widget.setEnabled(light.even)
        chosen = preset_of(light)
        for preset, button in self.presets.items():
            button.setChecked(preset is chosen)
        self._refresh_pegs(light.pegs)
        kept = self.tr("evened, {0} of sky changes kept").format(self._percent(round(light.sky_kept * 100)))
        self.summarise(kept if light.even else self.tr("as shot"))

    def _tell_steepest(self) -> None:
        """Say where the film changes most from one frame to the next: what evening the camera leaves of the sky."""
        film, used = self._session.film_light, self._session.used
        if film is None or len(used) < 2:
            self.steepest.setText("")
            return
        jumps = np.abs(np.diff(film.film_ev[used]))
        place = int(np.nanargmax(jumps))
        frame = used[place + 1] + 1
        self.steepest.setText(self.tr("Fastest change: {0} stops, at frame {1}").format(f"{jumps[place]:.1f}", frame))

    # -- making the controls

    def _check(self, name: str, setting: str) -> QCheckBox:
        box = QCheckBox(name, self)
        box.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        box.setAccessibleName(name.replace("&", ""))
        box.toggled.connect(lambda on: self._edit(name, **{setting: on}))
        self.content.addWidget(box)
        return box

    def _slider(self, name: str, span: tuple[int, int], show: Any, moved: Any) -> NamedSlider:
        slider = NamedSlider(name, span, show, self)
        slider.moved.connect(moved)
        slider.taken.connect(self._session.hold_gesture)
        slider.released.connect(self._session.end_gesture)
        self.content.addWidget(slider)
        return slider

    def _presets(self) -> QGridLayout:
        grid = QGridLayout()
        grid.setSpacing(4)
        self.presets: dict[Preset, QPushButton] = {}
        for k, (preset, (name, hint)) in enumerate(self._preset_words().items()):
            button = push_button(name, self, checkable=True)
            button.setToolTip(hint)
            button.setAccessibleDescription(hint)
            button.clicked.connect(self._preset(name, preset))
            grid.addWidget(button, k // 2, k % 2)
            self.presets[preset] = button
        return grid

    def _preset_words(self) -> dict[Preset, tuple[str, str]]:
        return {
            Preset.STEADY: (self.tr("Steady night"), self.tr("For a quiet sky: the film stays at nearly one brightness.")),
            Preset.BREAK_UP: (
                self.tr("Break-up"),
                self.tr("For a sky that bursts out: its rise stays, only a little tamed."),
            ),
            Preset.DUSK: (
                self.tr("Dusk to night"),
                self.tr("For a falling night: it darkens slowly, and the stars come out."),
            ),
            Preset.AS_SHOT: (self.tr("As shot"), self.tr("The light is not evened: every change of the camera stays.")),
        }

    def _preset(self, name: str, preset: Preset) -> Any:
        def press() -> None:
            self._session.edit(name, lambda project: replace(project, light=with_preset(project.light, preset)))
            self.refresh()  # a second press takes the check off a button whose settings still hold

        return press

    def _add_pegs(self) -> None:
        self._peg_hint = soft_label(
            self, self.tr("Double-click the plot to set a frame's film light, or press P to hold it.")
        )
        self.pegs = QListWidget(self)
        single_choice(self.pegs, self.tr("Pegs"))
        title = label_for(self.tr("Pe&gs"), self.pegs, self)
        self.remove = push_button(self.tr("Remove"), self, spoken=self.tr("Remove the chosen peg"))
        self.remove_all = push_button(self.tr("Remove all"), self, spoken=self.tr("Remove all pegs"))
        row = QHBoxLayout()
        for button in (self.remove, self.remove_all):
            row.addWidget(button)
        for widget in (title, self._peg_hint, self.pegs):
            self.content.addWidget(widget)
        self.content.addLayout(row)
        self.remove.clicked.connect(self._remove_peg)
        self.remove_all.clicked.connect(self._remove_pegs)
        self.pegs.itemActivated.connect(self._go_to_peg)
        self.pegs.itemClicked.connect(self._go_to_peg)

    # -- edits

    def _edit(self, name: str, **changes: Any) -> None:
        self._session.edit(name.replace("&", ""), change_light(**changes))

    def _sky_moved(self, value: int) -> None:
        self._session.edit(self.tr("Keep sky changes"), change_light(sky_kept=value / 100), merge="sky_kept")

    def _ramp_moved(self, value: int) -> None:
        self._session.edit(self.tr("Ramp length"), change_light(ramp_s=value / _STEPS_PER_SECOND), merge="ramp_s")

    def _brightness_moved(self, value: int) -> None:
        self._session.edit(self.tr("Brightness"), change_light(brightness_ev=value / _STEPS_PER_STOP), merge="brightness_ev")

    def _remove_peg(self) -> None:
        item = self.pegs.currentItem()
        if item is not None:
            self._session.edit(self.tr("Remove a peg"), remove_peg(int(item.data(Qt.ItemDataRole.UserRole))))

    def _remove_pegs(self) -> None:
        self._session.edit(self.tr("Remove all pegs"), change_light(pegs=()))

    # -- words and pegs

    def _refresh_pegs(self, pegs: tuple[Peg, ...]) -> None:
        chosen = self.pegs.currentRow()
        self.pegs.clear()
        for peg in pegs:
            text = self.tr("frame {0}   film light {1}").format(peg.frame + 1, self._words.stops(peg.film_ev))
            item = QListWidgetItem(text, self.pegs)
            item.setData(Qt.ItemDataRole.UserRole, peg.frame)
        self.pegs.setCurrentRow(min(max(chosen, 0), len(pegs) - 1))
        self.pegs.setVisible(bool(pegs))
        self.pegs.setFixedHeight(10 + max(self.pegs.sizeHintForRow(0), 20) * min(max(len(pegs), 1), _MOST_PEGS))
        self._peg_hint.setVisible(not pegs)
        for button in (self.remove, self.remove_all):
            button.setVisible(bool(pegs))

    def _go_to_peg(self, item: QListWidgetItem) -> None:
        self._session.move_to(int(item.data(Qt.ItemDataRole.UserRole)))

    def _percent(self, value: int) -> str:
        return self.tr("{0} %").format(value)

    def _ramp_text(self, value: int) -> str:
        return self._words.seconds(value / _STEPS_PER_SECOND)

    def _stops(self, value: int) -> str:
        return self._words.stops(value / _STEPS_PER_STOP)
