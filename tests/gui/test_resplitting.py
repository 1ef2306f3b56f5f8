"""Another metering area works the light out again in the background, through undo too, without reading a file."""

from __future__ import annotations

import threading
from collections.abc import Callable

import numpy as np
import pytest

from lapsebench.core.area import AreaKind, MeteringArea
from lapsebench.core.progress import Tick
from lapsebench.core.project import Project
from lapsebench.gui.commands import change_area, trim_shot
from lapsebench.gui.window import MainWindow
from lapsebench.services import survey as surveying
from lapsebench.services.survey import Survey

Until = Callable[[Callable[[], bool]], None]
CORNER = MeteringArea(AreaKind.RECTANGLE, (0.0, 0.0, 0.3, 0.3))
OTHER = MeteringArea(AreaKind.ELLIPSE, (0.5, 0.4, 0.4, 0.5))


def luminance(window: MainWindow) -> list[float]:
    """Return the luminance of all frames within what is measured."""
    assert window.session.survey is not None
    return [float(ev) for ev in window.session.survey.light.luminance_ev]


def test_the_light_follows_area_undo_and_redo(surveyed: MainWindow, until: Until, monkeypatch: pytest.MonkeyPatch) -> None:
    session, shown = surveyed.session, surveyed.bench.strip.canvas
    whole = luminance(surveyed)
    monkeypatch.setattr(surveying, "_measure", lambda *_: pytest.fail("a file was measured again"))
    session.edit("area", change_area(0, CORNER))
    assert surveyed.resplitter.busy
    assert not surveyed.bench.foot.make.isEnabled()
    until(lambda: not surveyed.resplitter.busy)
    corner = luminance(surveyed)
    assert np.abs(np.subtract(corner, whole)).min() > 0.01
    assert shown.model is not None
    np.testing.assert_allclose(shown.model.luminance, corner)
    assert surveyed.bench.foot.make.isEnabled()
    session.undo_stack.undo()
    until(lambda: not surveyed.resplitter.busy)
    np.testing.assert_allclose(luminance(surveyed), whole)
    session.undo_stack.redo()
    until(lambda: not surveyed.resplitter.busy)
    np.testing.assert_allclose(luminance(surveyed), corner)
    assert session.undo_stack.count() == 1


def test_only_a_change_of_the_area_does_so(surveyed: MainWindow) -> None:
    session = surveyed.session
    session.edit("trim", trim_shot(0, 2, 9))
    session.edit("box of no area", change_area(0, MeteringArea(AreaKind.WHOLE, CORNER.box)))
    assert not surveyed.resplitter.busy


def test_the_newest_area_counts_and_a_cancelled_one_can_be_taken_up(
    surveyed: MainWindow, until: Until, monkeypatch: pytest.MonkeyPatch
) -> None:
    session, real = surveyed.session, surveying.resplit
    go_on, asked = threading.Event(), list[MeteringArea]()

    def slow(known: Survey, project: Project, *, tick: Tick) -> Survey:
        asked.append(project.shots[0].area)
        while not go_on.wait(0.01):
            tick(0, 12)
        return real(known, project, tick=tick)

    monkeypatch.setattr(surveying, "resplit", slow)
    whole = luminance(surveyed)
    session.edit("area", change_area(0, CORNER))
    until(lambda: len(asked) == 1)
    session.edit("area", change_area(0, OTHER))
    until(lambda: len(asked) == 2)
    until(lambda: len(surveyed.work_bar.rows) == 1)
    assert not surveyed.messages.messages, "nobody asked to stop the first"
    surveyed.work_bar.rows[0].cancel()
    until(lambda: bool(surveyed.messages.messages))
    assert luminance(surveyed) == whole
    assert not surveyed.resplitter.busy
    go_on.set()
    message = surveyed.messages.messages[0]
    message.buttons[0][1]()
    until(lambda: not surveyed.resplitter.busy)
    assert asked == [CORNER, OTHER, OTHER]
    assert luminance(surveyed) != whole


def test_a_failure_is_told_and_not_tried_for_ever(
    surveyed: MainWindow, until: Until, monkeypatch: pytest.MonkeyPatch
) -> None:
    tried = []

    def broken(*_args: object, **_more: object) -> Survey:
        tried.append(1)
        raise RuntimeError("no light")

    monkeypatch.setattr(surveying, "resplit", broken)
    surveyed.session.edit("area", change_area(0, CORNER))
    until(lambda: bool(surveyed.messages.messages))
    surveyed.session.edit("trim", trim_shot(0, 2, 9))
    assert not surveyed.resplitter.busy
    assert tried == [1]


def test_an_area_chosen_while_measuring_is_worked_out_after_it(surveyed: MainWindow, until: Until) -> None:
    surveyed.opener.survey()
    surveyed.session.edit("area", change_area(0, CORNER))
    until(lambda: not surveyed.opener.busy)
    until(lambda: not surveyed.resplitter.busy)
    assert surveyed.session.survey is not None
    assert surveyed.session.survey.project.shots[0].area == CORNER
    assert surveyed.session.survey.shot_lights[0].metering.used == CORNER
