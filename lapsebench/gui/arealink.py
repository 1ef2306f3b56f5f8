"""Ties the metering area in the picture and its row in section Light to the session."""

from __future__ import annotations

from dataclasses import replace

from PySide6.QtCore import QObject
from PySide6.QtGui import QAction

from lapsebench.core.area import AreaKind, MeteringArea, flat_skyline, with_horizon
from lapsebench.gui.commands import change_area
from lapsebench.gui.picture_area import AreaLayer
from lapsebench.gui.sections.metering import MeteringRow
from lapsebench.gui.session import Session


class AreaLink(QObject):
    """Keeps layer, row and the menu's `switch` on the session's shot, and turns what is done on them into edits."""

    def __init__(
        self, session: Session, layer: AreaLayer, row: MeteringRow, switch: QAction, parent: QObject | None = None
    ) -> None:
        super().__init__(parent)
        self._session, self._layer, self._row, self._switch = session, layer, row, switch
        self._dragging = False
        for signal in (session.project_changed, session.surveyed):
            signal.connect(self._show)
        session.shot_changed.connect(self._let_go)
        row.kind_chosen.connect(self._choose)
        row.find_wanted.connect(self._find)
        row.show_box.toggled.connect(switch.setChecked)
        row.show_box.toggled.connect(self._show)
        layer.changed.connect(self._change)
        layer.find_wanted.connect(self._find)
        layer.room_changed.connect(self._show)
        self._show()

    def _show(self) -> None:
        shot, metering = self._session.shot, self._session.metering()
        area = shot.area if shot else MeteringArea()
        known = metering is not None
        self._row.show_area(area, metering)
        self._switch.setEnabled(area.kind is not AreaKind.WHOLE)
        found = metering.horizon.skyline if metering and metering.horizon else ()
        seen = with_horizon(area, found) if area.by_horizon else area
        nothing = area.by_horizon and not seen.horizon
        if nothing:
            seen = replace(seen, horizon=flat_skyline())
        shown = self._row.show_box.isChecked() and (known or not nothing)
        self._layer.show_area(seen if shown else None, proposed=nothing)

    def _choose(self, kind: AreaKind) -> None:
        shot = self._session.shot
        if shot is not None:
            self._row.show_box.setChecked(kind is not AreaKind.WHOLE)
            self._edit(replace(shot.area, kind=kind))

    def _find(self) -> None:
        shot = self._session.shot
        if shot is not None:
            self._edit(replace(shot.area, horizon=()))

    def _change(self, area: MeteringArea, over: bool) -> None:
        if self._layer.held and not self._dragging:
            self._dragging = True
            self._session.hold_gesture()
        self._edit(area, merge="metering area")
        if over:
            self._end_drag()

    def _let_go(self) -> None:
        """End a drag whose shot is shown no more."""
        self._layer.let_go()
        self._end_drag()
        self._show()

    def _end_drag(self) -> None:
        if self._dragging:
            self._dragging = False
            self._session.end_gesture()

    def _edit(self, area: MeteringArea, *, merge: str | None = None) -> None:
        edit = change_area(self._session.shot_index, area)
        self._session.edit(self.tr("Change the metering area"), edit, merge=merge)
