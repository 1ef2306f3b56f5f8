"""The three panes of an open night: shots, picture over strip, and the sections with the film's foot."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QAction
from PySide6.QtWidgets import QFrame, QScrollArea, QSplitter, QVBoxLayout, QWidget

from lapsebench.gui.filmfoot import FilmFoot
from lapsebench.gui.jobs import Jobs
from lapsebench.gui.nightstrip import NightStrip
from lapsebench.gui.parts import rule
from lapsebench.gui.picture import PictureView
from lapsebench.gui.redlight import set_red_light
from lapsebench.gui.sections.base import Section
from lapsebench.gui.sections.film import FilmSection
from lapsebench.gui.sections.frames import FramesSection
from lapsebench.gui.sections.light import LightSection
from lapsebench.gui.sections.picture import PictureSection
from lapsebench.gui.session import Session
from lapsebench.gui.settings import Settings
from lapsebench.gui.shotlist import ShotList
from lapsebench.gui.transport import Transport

_OPEN_AT_FIRST = {"light", "film", "look-colour", "look-light"}


class Workbench(QWidget):
    """Lays out the panes and remembers their sizes."""

    def __init__(
        self,
        session: Session,
        settings: Settings,
        jobs: Jobs,
        *,
        play_actions: dict[str, QAction],
        side_actions: list[QAction],
        toggle_action: QAction,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._settings = settings
        self.shots = ShotList(session, self)
        self.picture = PictureView(self)
        self.transport = Transport(session, play_actions, side_actions, self)
        self.strip = NightStrip(self)
        self.frames = FramesSection(session, toggle_action, self)
        self.light = LightSection(session, self)
        self.picture_section = PictureSection(session, jobs, self.picture, self)
        self.film = FilmSection(session, self, jobs=jobs)
        self.foot = FilmFoot(session, settings, self)
        self.upright = self._centre()
        self.across = QSplitter(Qt.Orientation.Horizontal, self, childrenCollapsible=False, handleWidth=5)
        for pane, stretch in ((self.shots, 0), (self.upright, 1), (self._right(), 0)):
            self.across.addWidget(pane)
            self.across.setStretchFactor(self.across.count() - 1, stretch)
        self.across.setSizes([214, 746, 310])
        layout = QVBoxLayout(self)
        layout.setContentsMargins(6, 0, 6, 0)
        layout.addWidget(self.across)
        self._restore()

    @property
    def sections(self) -> list[Section]:
        """The sections in working order."""
        return [self.frames, self.light, self.picture_section, self.film]

    def set_red(self, red: bool) -> None:
        """Turn pictures and plot to red as well, for eyes that are used to the dark."""
        for widget in (self.picture, self.strip, self.shots):
            set_red_light(widget, red)

    def remember(self) -> None:
        """Store the sizes of the panes and which sections are open."""
        self._settings.put("panes/across", self.across.saveState())
        self._settings.put("panes/upright", self.upright.saveState())
        for section in self._all_sections():
            self._settings.put(f"sections/{section.key}", section.is_open)

    def _restore(self) -> None:
        for splitter, key in ((self.across, "panes/across"), (self.upright, "panes/upright")):
            state = self._settings.state(key)
            if not state.isEmpty():
                splitter.restoreState(state)
        for section in self._all_sections():
            section.set_open(self._settings.flag(f"sections/{section.key}", section.key in _OPEN_AT_FIRST))

    def _all_sections(self) -> list[Section]:
        """Return the sections and those within them."""
        look = self.picture_section.look
        return [*self.sections, self.light.measuring, look, *look.groups]

    def _centre(self) -> QSplitter:
        top = QWidget(self)
        column = QVBoxLayout(top)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.picture, 1)
        column.addWidget(self.transport)
        upright = QSplitter(Qt.Orientation.Vertical, self, childrenCollapsible=False, handleWidth=5)
        self.strip.setMinimumHeight(180)
        for pane, stretch in ((top, 3), (self.strip, 2)):
            upright.addWidget(pane)
            upright.setStretchFactor(upright.count() - 1, stretch)
        upright.setSizes([400, 300])
        return upright

    def _right(self) -> QWidget:
        body = QWidget(self)
        body.setObjectName("panelBody")
        column = QVBoxLayout(body)
        column.setContentsMargins(2, 4, 2, 4)
        column.setSpacing(2)
        for i, section in enumerate(self.sections):
            if i:
                column.addWidget(rule(body))
            column.addWidget(section)
        column.addStretch(1)
        scroll = QScrollArea(self, widgetResizable=True)
        scroll.setFrameShape(QFrame.Shape.NoFrame)
        scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        scroll.setWidget(body)
        right = QWidget(self)
        right.setObjectName("panel")
        right.setMinimumWidth(290)
        outer = QVBoxLayout(right)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.setSpacing(0)
        outer.addWidget(scroll, 1)
        outer.addWidget(rule(right))
        outer.addWidget(self.foot)
        return right
