"""Steps the survey finds in the pictures are marked on the night strip like setting changes."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import QPointF
from pytestqt.qtbot import QtBot

from lapsebench.core.filmlight import FilmLight
from lapsebench.core.project import Project
from lapsebench.core.separation import Light
from lapsebench.core.sequence import Fault, Frame, Shot
from lapsebench.gui.nightstrip import NightStrip
from lapsebench.gui.strip_model import StripModel

COUNT, FIRST = 60, 10
FOUND = "step in the pictures"


def make_strip(qtbot: QtBot, frames: Sequence[Frame], changed: Sequence[int]) -> NightStrip:
    """Return a strip on the frames from `FIRST` on, with a light whose settings change at `changed`."""
    strip = NightStrip()
    qtbot.addWidget(strip)
    strip.resize(860, 320)
    strip.show()
    qtbot.waitExposed(strip)
    shot = Shot(FIRST, len(frames) - 1)
    strip.show_shot(Project(frames=tuple(frames), shots=(Shot(0, FIRST - 1), shot)), shot)
    n = len(frames)
    level, flags = np.full(n, -6.0), np.zeros(n, bool)
    flags[list(changed)] = True
    light = Light(np.full(n, np.nan), level, level, level, np.zeros(n), flags, np.zeros(n), level, np.zeros(n))
    strip.show_light(light, FilmLight(level, np.zeros(n), level), range(n))
    return strip


def changes(strip: NightStrip) -> list[tuple[int, str]]:
    """Return places and words of the marked changes."""
    assert strip.canvas.model is not None
    return [(change.index, change.text) for change in strip.canvas.model.changes]


def test_files_without_settings_get_a_tick_where_the_pictures_step(qtbot: QtBot) -> None:
    strip = make_strip(qtbot, [Frame(Path(f"{i}.jpg")) for i in range(COUNT)], [3, 30, 45])
    assert changes(strip) == [(20, FOUND), (35, FOUND)]
    view = strip.canvas.view
    assert strip.hint_at(QPointF(view.x(19.5), view.lane.center().y())) == FOUND


def test_a_step_does_not_stand_twice_where_the_files_tell_of_it(qtbot: QtBot) -> None:
    frames = [Frame(Path(f"{i}.jpg"), None, 10.0 if i < 30 else 4.0, 2.8, 800.0) for i in range(COUNT)]
    assert changes(make_strip(qtbot, frames, [30, 50])) == [(20, "10 s → 4 s"), (40, FOUND)]


@pytest.mark.parametrize(("fault", "used"), [(Fault.UNREADABLE, False), (Fault.BLOWN, True)])
def test_before_the_survey_a_frame_is_in_by_the_projects_rule(fault: Fault, used: bool) -> None:
    frame = Frame(Path("a.jpg"), faults=frozenset({fault}))
    project = Project(frames=(frame,), shots=(Shot(0, 0),), taken_in=frozenset({0}))
    assert bool(StripModel(project, project.shots[0]).used[0]) is used
