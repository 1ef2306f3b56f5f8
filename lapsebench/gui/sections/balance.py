"""The part of section Picture that sets the white balance of RAW shots; hidden where the shot has none."""

from __future__ import annotations

from math import exp, log

from PySide6.QtCore import QPointF, Signal
from PySide6.QtWidgets import QComboBox, QGridLayout, QVBoxLayout, QWidget

from lapsebench.core.balance import Balance, BalanceKind
from lapsebench.errors import FrameError
from lapsebench.gui.commands import change_shot
from lapsebench.gui.jobs import Job, Jobs
from lapsebench.gui.parts import label_for, push_button, soft_label
from lapsebench.gui.picture import PictureView
from lapsebench.gui.sections.base import NamedSlider
from lapsebench.gui.session import Session
from lapsebench.services.balances import as_shot_of, grey_of, shown_light

_COLDEST_K, _HOTTEST_K, _STEPS = 1500.0, 15000.0, 400
_TINTS = 60
_FIRST, _THIS, _DAYLIGHT, _OWN, _GREY = range(5)


def kelvin_of(step: int) -> float:
    """Return the temperature of a step of the slider, whose steps are alike to the eye."""
    kelvin = _COLDEST_K * exp(step / _STEPS * log(_HOTTEST_K / _COLDEST_K))
    return round(kelvin, -1)


def step_of(kelvin: float) -> int:
    """Return the step nearest to a temperature."""
    held = min(max(kelvin, _COLDEST_K), _HOTTEST_K)
    return round(_STEPS * log(held / _COLDEST_K) / log(_HOTTEST_K / _COLDEST_K))


class BalanceBox(QWidget):
    """Where the balance comes from, the light it is for, and the picking of a grey."""

    failed = Signal(object)

    def __init__(self, session: Session, jobs: Jobs, view: PictureView, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session, self._jobs, self._view = session, jobs, view
        self.kind = QComboBox(self)
        self.kind.addItems(
            [
                self.tr("As the first frame"),
                self.tr("As this frame"),
                self.tr("Daylight"),
                self.tr("Own light"),
                self.tr("From a grey"),
            ]
        )
        self.kind.setAccessibleName(self.tr("White balance"))
        self.kind.setMinimumContentsLength(8)
        self.kind.setToolTip(self.tr("The colours that all RAW frames of this shot are seen in; the light is not changed"))
        self.kind.activated.connect(self._chosen)
        self.kelvin = NamedSlider(self.tr("Temperature"), (0, _STEPS), self._kelvin_words, self)
        self.tint = NamedSlider(self.tr("Green or magenta"), (-_TINTS, _TINTS), self._tint_words, self)
        for slider in (self.kelvin, self.tint):
            slider.moved.connect(self._set_own)
            slider.taken.connect(session.hold_gesture)
            slider.released.connect(session.end_gesture)
        self.pick = push_button(self.tr("Pick a gre&y…"), self, checkable=True)
        self.pick.setToolTip(self.tr("Click in the picture on something grey, such as snow in moonlight"))
        self.pick.clicked.connect(view.set_picking)
        self.told = soft_label(self, self.tr("Click on something grey in the picture; Escape leaves it."))
        self._lay_out()
        view.picking_changed.connect(self._show_picking)
        view.picked.connect(self._picked)
        for signal in (session.project_changed, session.surveyed, session.shot_changed, session.opened):
            signal.connect(self.refresh)
        self._show_picking(False)
        self.refresh()

    def refresh(self) -> None:
        """Show the balance of the playhead's shot."""
        shot = self._session.shot
        light = None if shot is None else shown_light(self._session.project, shot)
        self.setVisible(light is not None)
        if shot is None or light is None:
            return
        as_shot = _FIRST if shot.balance.multipliers is None else _THIS
        places = {BalanceKind.DAYLIGHT: _DAYLIGHT, BalanceKind.CUSTOM: _OWN, BalanceKind.GREY: _GREY}
        self.kind.setCurrentIndex(places.get(shot.balance.kind, as_shot))
        if shot.balance.kind is BalanceKind.CUSTOM:
            self._show_light(shot.balance.temperature_k, shot.balance.tint)
        else:
            self._show_light(light.temperature_k, light.tint)

    def _lay_out(self) -> None:
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 4, 0, 4)
        column.setSpacing(6)
        grid = QGridLayout()
        grid.setColumnStretch(1, 1)
        grid.addWidget(label_for(self.tr("White bala&nce"), self.kind, self), 0, 0)
        grid.addWidget(self.kind, 0, 1)
        column.addLayout(grid)
        for widget in (self.kelvin, self.tint, self.pick, self.told):
            column.addWidget(widget)

    def _show_light(self, kelvin: float, tint: float) -> None:
        self.kelvin.set_value(step_of(kelvin))
        self.tint.set_value(round(min(max(tint, -_TINTS), _TINTS)))

    def _show_picking(self, picking: bool) -> None:
        self.pick.setChecked(picking)
        self.told.setVisible(picking)

    # -- what is done

    def _chosen(self, index: int) -> None:
        frame, shot = self._session.frame, self._session.shot
        if frame is None or shot is None:
            return
        if index == _GREY:
            self.refresh()
            self._view.set_picking(True)
        elif index == _THIS:
            try:
                self._edit(as_shot_of(frame))
            except FrameError as error:
                self.refresh()
                self.failed.emit(error)
        elif index == _OWN:
            self._set_own()
        else:
            self._edit(Balance(BalanceKind.DAYLIGHT if index == _DAYLIGHT else BalanceKind.AS_SHOT))

    def _set_own(self) -> None:
        kelvin, tint = kelvin_of(self.kelvin.slider.value()), float(self.tint.slider.value())
        self._edit(Balance(BalanceKind.CUSTOM, temperature_k=kelvin, tint=tint), merge="white balance")

    def _edit(self, balance: Balance, *, merge: str | None = None) -> None:
        edit = change_shot(self._session.shot_index, balance=balance)
        self._session.edit(self.tr("Change the white balance"), edit, merge=merge)

    def _picked(self, at: QPointF) -> None:
        frame, first = self._session.frame, self._session.shot
        if frame is None or first is None:
            return
        job = Job(self.tr("Picking a grey"), lambda _job: grey_of(frame, (at.x(), at.y())))
        job.finished.connect(lambda balance: self._take(first.first, balance))
        job.failed.connect(self.failed)
        self._jobs.start(job)

    def _take(self, first: int, balance: Balance) -> None:
        """Set what was picked if its shot is still there; it may be shown no more."""
        shots = self._session.project.shots
        for index, shot in enumerate(shots):
            if shot.first == first:
                edit = change_shot(index, balance=balance)
                self._session.edit(self.tr("Change the white balance"), edit)

    def _kelvin_words(self, step: int) -> str:
        return self.tr("{0} K").format(f"{kelvin_of(step):.0f}")

    def _tint_words(self, tint: int) -> str:
        return f"{tint:+d}".replace("-", "−") if tint else "0"
