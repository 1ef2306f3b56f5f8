"""The camera's curve in the window: told, switched off and on again with undo, and seen."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from lapsebench.core.curves import CameraCurve
from lapsebench.core.response import Origin
from lapsebench.gui.cameracurve import CurveWindow
from lapsebench.gui.window import MainWindow
from lapsebench.services.survey import Survey, resplit

Until = Callable[[Callable[[], bool]], None]


@pytest.fixture
def with_curve(surveyed: MainWindow) -> MainWindow:
    """Return the window on a night whose camera has a curve of its own."""
    known = surveyed.session.survey
    assert known is not None
    surveyed.session.finish_survey(_with_curve(known))
    return surveyed


def _with_curve(known: Survey) -> Survey:
    (curve,) = known.project.curves
    ev = [tuple(0.8 * stops for stops in response.ev) for response in curve.responses]
    pairs = zip(curve.responses, ev, strict=True)
    own = tuple(replace(response, ev=stops, origin=Origin.MEASURED, changes=12) for response, stops in pairs)
    project = replace(known.project, curves=(CameraCurve(curve.kind, own),))
    return resplit(replace(known, project=project, shot_lights=()), project)


def test_too_few_changes_are_told(surveyed: MainWindow) -> None:
    row = surveyed.bench.light.measuring.curve
    assert "too few" in row.origin.text()
    assert not row.use.isEnabled()
    assert row.show_curve.isEnabled()


def test_it_is_switched_off_and_on_as_one_step(with_curve: MainWindow, until: Until) -> None:
    session, row = with_curve.session, with_curve.bench.light.measuring.curve
    assert "12 setting changes" in row.origin.text()
    assert session.responses_of(0)[1].origin is Origin.MEASURED
    row.use.click()
    until(lambda: session.responses_of(0)[1].origin is Origin.OFF)
    assert not session.project.use_curve
    assert session.undo_stack.count() == 1
    session.undo_stack.undo()
    until(lambda: session.responses_of(0)[1].origin is Origin.MEASURED)
    assert row.use.isChecked()


def test_the_plot_shows_three_channels_against_srgb(with_curve: MainWindow) -> None:
    with_curve.bench.light.measuring.curve.show_curve.click()
    (window,) = with_curve.findChildren(CurveWindow)
    names = [item.name() for item in window.plot.getPlotItem().listDataItems() if item.name()]
    assert names == ["sRGB", "red", "green", "blue"]
    assert not window.isModal()
    window.close()
