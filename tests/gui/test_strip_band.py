"""How sure the light is, in the night strip: a band in the plot, words in the read-out, what a mark means."""

from __future__ import annotations

from pathlib import Path
from time import perf_counter

import numpy as np
import pytest
from PySide6.QtCore import QPointF, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from lapsebench.core.filmlight import FilmLight
from lapsebench.core.project import Project
from lapsebench.core.separation import Light
from lapsebench.core.sequence import Fault, Frame, Shot
from lapsebench.gui.nightstrip import NightStrip
from lapsebench.gui.strip_model import Curve, StripModel

ERROR = 0.15
UNSURE = range(40, 61)


@pytest.fixture
def unsure(qtbot: QtBot) -> NightStrip:
    """Return a strip of 120 frames."""
    return show(qtbot, 120)


def show(qtbot: QtBot, count: int) -> NightStrip:
    """Return a strip of a night as long as 120 parts, uncertain in those of `UNSURE`; 50 is unknown and 55 left out."""
    strip = NightStrip()
    qtbot.addWidget(strip)
    strip.resize(860, 320)
    strip.show()
    qtbot.waitExposed(strip)
    part = np.arange(count) * 120 // count
    doubt = np.isin(part, UNSURE)
    faults = [frozenset({Fault.UNCERTAIN} if d else ()) for d in doubt]
    frames = tuple(Frame(Path(f"F{4000 + i}.jpg"), None, 4.0, 2.8, 1600.0, faults=own) for i, own in enumerate(faults))
    project = Project(frames=frames, shots=(Shot(0, count - 1),))
    error = np.where(doubt, ERROR, 0.002)
    error[part == 50] = np.nan
    scene, exposure, nothing = -12 + np.sin(np.arange(count) / 9), np.full(count, 5.2), np.zeros(count)
    light = Light(exposure, scene + 5.2, exposure, scene, nothing, nothing > 0, nothing, scene + 7, error)
    film = FilmLight(scene + 5.5, np.full(count, 0.3), np.full(count, 5.5))
    strip.show_shot(project, project.shots[0])
    strip.show_light(light, film, set(np.flatnonzero(part != 55).tolist()))
    QApplication.processEvents()
    return strip


def model_of(strip: NightStrip) -> StripModel:
    """Return what the strip shows."""
    assert strip.canvas.model is not None
    return strip.canvas.model


def height(strip: NightStrip, curve: Curve, place: float) -> float:
    """Return how high the band of a curve stands at a place in the shot, stops."""
    path = strip.canvas.layers.curves.bands.band(curve)
    ups = np.linspace(-14, -2, 4001)
    return float(sum(path.contains(QPointF(place, up)) for up in ups) * (ups[1] - ups[0]))


@pytest.mark.parametrize("curve", [Curve.SCENE, Curve.FILM])
def test_the_band_holds_two_standard_errors_to_either_side(unsure: NightStrip, curve: Curve) -> None:
    assert height(unsure, curve, 45) == pytest.approx(4 * ERROR, abs=0.01)
    assert height(unsure, curve, 20) == pytest.approx(4 * 0.002, abs=0.004)
    assert height(unsure, curve, 50) == 0, "broken where the error is unknown"
    assert (height(unsure, curve, 55) == 0) is (curve is Curve.FILM), "a frame that is left out has no film light"


def test_it_is_there_at_every_zoom_and_a_frame_between_gaps_is_seen(unsure: NightStrip) -> None:
    model = model_of(unsure)
    model.error[[43, 45]] = np.nan
    for _ in range(4):
        unsure.canvas.zoom(1.7, 44)
        assert height(unsure, Curve.SCENE, 44.2) == pytest.approx(4 * ERROR, abs=0.01)
        assert height(unsure, Curve.SCENE, 43) == 0


def test_where_frames_share_a_pixel_it_holds_them_all(qtbot: QtBot) -> None:
    strip = show(qtbot, 5000)
    model, path = model_of(strip), strip.canvas.layers.curves.bands.band(Curve.SCENE)
    assert path.elementCount() < 3 * strip.canvas.view.plot.width()
    box, known = path.boundingRect(), np.isfinite(model.error)
    margin, scene = 2 * model.error, model.scene + model.scene_shift
    assert box.top() == pytest.approx(np.nanmin((scene - margin)[known]), abs=1e-6)
    assert box.bottom() == pytest.approx(np.nanmax((scene + margin)[known]), abs=1e-6)
    bands, view = strip.canvas.layers.curves.bands, strip.canvas.view
    began = perf_counter()
    for _ in range(20):
        bands.show_film(model, view)
    assert (perf_counter() - began) / 20 < 0.01


@pytest.mark.parametrize("dark", [True, False])
def test_it_is_seen_and_can_be_hidden(unsure: NightStrip, dark: bool) -> None:
    unsure.set_theme(dark)
    QApplication.processEvents()
    shown = unsure.canvas.grab().toImage()
    QTest.mouseClick(unsure.legend.buttons[Curve.BAND], Qt.MouseButton.LeftButton)
    QApplication.processEvents()
    hidden = unsure.canvas.grab().toImage()
    view = unsure.canvas.view
    across = round(view.x(46))
    downs = range(round(view.plot.top()), round(view.plot.bottom()))
    changed = sum(shown.pixelColor(across, down) != hidden.pixelColor(across, down) for down in downs)
    assert changed >= 0.5 * 4 * ERROR * view.plot.height() / (view.high - view.low)
    QTest.mouseClick(unsure.legend.buttons[Curve.BAND], Qt.MouseButton.LeftButton)
    QTest.mouseClick(unsure.legend.buttons[Curve.SCENE], Qt.MouseButton.LeftButton)
    QTest.mouseClick(unsure.legend.buttons[Curve.FILM], Qt.MouseButton.LeftButton)
    assert unsure.canvas.grab().toImage() != shown


def test_the_read_out_says_how_sure_the_frame_is(unsure: NightStrip) -> None:
    for frame, words in ((20, "± 0.01 stop"), (45, "± 0.30 stop"), (55, "exposure ± 0.30 stop")):
        unsure.set_playhead(frame)
        assert words in unsure.readout.text.replace("\N{NO-BREAK SPACE}", " ")
    assert "exposure uncertain" in unsure.readout.text
    unsure.set_playhead(50)
    assert "±" not in unsure.readout.text


def test_its_mark_says_what_it_means_and_what_to_do(unsure: NightStrip) -> None:
    view = unsure.canvas.view
    hint = unsure.hint_at(QPointF(view.x(45), view.marks.center().y())).replace("\N{NO-BREAK SPACE}", " ")
    assert hint.startswith("F4045.jpg: exposure uncertain\n")
    assert "± 0.30 stop" in hint
    assert "peg" in hint
