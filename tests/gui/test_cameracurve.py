"""The camera's curve in the window: told, switched off and on again with undo, and seen."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from PySide6.QtGui import QImage

from lapsebench.core.curves import CameraCurve
from lapsebench.core.response import Origin
from lapsebench.gui.cameracurve import CurveWindow
from lapsebench.gui.theme import Theme
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


def test_the_plot_is_red_in_the_red_theme_and_goes_with_the_theme(with_curve: MainWindow) -> None:
    with_curve.set_theme(Theme.RED)
    with_curve.bench.light.measuring.curve.show_curve.click()
    (window,) = with_curve.findChildren(CurveWindow)
    assert_red(window)
    with_curve.set_theme(Theme.LIGHT)
    pixels = shown(window)
    assert np.median(pixels) > 200, "most of the plot is its light ground"
    with_curve.set_theme(Theme.RED)
    assert_red(window)
    names = [item.name() for item in window.plot.getPlotItem().listDataItems() if item.name()]
    assert names == ["sRGB", "red", "green", "blue"]
    window.close()


def assert_red(window: CurveWindow) -> None:
    """Fail where the plot has light that eyes used to the dark are blinded by."""
    pixels = shown(window).astype(int)
    assert pixels.max() > 150
    assert (pixels[..., 1:] <= pixels[..., :1] // 3 + 2).all()


def shown(window: CurveWindow) -> NDArray[np.uint8]:
    """Return R, G and B of the plot as it is seen, (h, w, 3)."""
    image = window.plot.grab().toImage().convertToFormat(QImage.Format.Format_RGB888)
    rows = np.frombuffer(image.constBits(), np.uint8).reshape(image.height(), image.bytesPerLine())
    return rows[:, : 3 * image.width()].reshape(image.height(), image.width(), 3).copy()  # the image goes
