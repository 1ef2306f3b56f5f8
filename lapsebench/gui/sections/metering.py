"""The row of section Light that tells and sets what is measured of a shot's pictures."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QCheckBox, QComboBox, QGridLayout, QWidget

from lapsebench.core.area import AreaKind, MeteringArea
from lapsebench.gui.parts import label_for, push_button, soft_label
from lapsebench.services.metering import Metering


class MeteringRow(QWidget):
    """The kind of area, whether it is shown in the picture, and how the horizon came about."""

    kind_chosen = Signal(object)
    find_wanted = Signal()
    changed = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.kind = QComboBox(self)
        self.kind.setAccessibleName(self.tr("Metering area"))
        self.kind.setMinimumContentsLength(8)
        for kind, name in self._names().items():
            self.kind.addItem(name, kind)
        self.show_box = QCheckBox(self.tr("Sho&w area"), self)
        self.show_box.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.show_box.setToolTip(self.tr("Show in the picture what is measured; it can be dragged there"))
        self.again = push_button(self.tr("Find again"), self, spoken=self.tr("Find the horizon again"))
        self.again.setToolTip(self.tr("Let go of the horizon drawn by hand and take the one that is found"))
        self.told = soft_label(self)
        layout = QGridLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setVerticalSpacing(4)
        layout.setColumnStretch(1, 1)
        layout.addWidget(label_for(self.tr("Metering &area"), self.kind, self), 0, 0)
        layout.addWidget(self.kind, 0, 1)
        layout.addWidget(self.show_box, 1, 0)
        layout.addWidget(self.again, 1, 1, Qt.AlignmentFlag.AlignRight)
        layout.addWidget(self.told, 2, 0, 1, 2)
        self.kind.activated.connect(self._chosen)
        self.again.clicked.connect(self.find_wanted)
        self.show_area(MeteringArea(), None)

    def show_area(self, area: MeteringArea, metering: Metering | None) -> None:
        """Show the area of a shot and what came of it; None while that is not known."""
        self.kind.setCurrentIndex(self.kind.findData(area.kind))
        whole = area.kind is AreaKind.WHOLE
        self.show_box.setVisible(not whole)
        self.again.setVisible(area.by_horizon)
        self.again.setEnabled(bool(area.horizon))
        text = "" if metering is None else self._words(area, metering)
        self.told.setText(text)
        self.told.setVisible(bool(text))
        self.changed.emit()

    def _chosen(self, index: int) -> None:
        self.kind_chosen.emit(AreaKind(self.kind.itemData(index)))  # a box gives plain words back

    def _words(self, area: MeteringArea, metering: Metering) -> str:
        if area.by_horizon and area.horizon:
            return metering.problem or self.tr("The horizon was drawn by hand.")
        if area.by_horizon and metering.horizon is None:
            return self.tr("No horizon was found: all of the picture is measured. Drag the line to where the ground begins.")
        if area.by_horizon:
            return metering.problem or self.tr("The horizon was found. Drag its line or points to change it.")
        return metering.problem

    def _names(self) -> dict[AreaKind, str]:
        return {
            AreaKind.WHOLE: self.tr("Whole picture"),
            AreaKind.SKY: self.tr("Sky"),
            AreaKind.GROUND: self.tr("Ground"),
            AreaKind.RECTANGLE: self.tr("Rectangle"),
            AreaKind.ELLIPSE: self.tr("Ellipse"),
        }
