"""The whole job in the real window, as a user does it: demo night, survey, trim by hand, a peg, undo, and a film."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import av
import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest

from lapsebench.gui.window import MainWindow

Until = Callable[[Callable[[], bool]], None]
LEFT = Qt.MouseButton.LeftButton


def spot(window: MainWindow, frame: int, film_ev: float | None = None) -> QPoint:
    """Return the point of the night strip at a frame: at a height in stops, or in the keogram."""
    view = window.bench.strip.canvas.view
    y = view.keogram.center().y() if film_ev is None else view.y(film_ev)
    return QPoint(round(view.x(frame)), round(y))


def drag(window: MainWindow, start: QPoint, end: QPoint) -> None:
    """Drag on the night strip."""
    canvas = window.bench.strip.canvas
    QTest.mousePress(canvas, LEFT, pos=start)
    QTest.mouseMove(canvas, (start + end) / 2)
    QTest.mouseMove(canvas, end)
    QTest.mouseRelease(canvas, LEFT, pos=end)


@pytest.fixture
def demo_window(window: MainWindow, until: Until) -> MainWindow:
    """Return the window after a click on the demo night, surveyed."""
    QTest.mouseClick(window.start_page.demo_button, LEFT)
    until(lambda: window.session.film_light is not None and not window.opener.busy)
    return window


def test_demo_night_to_film(demo_window: MainWindow, until: Until, tmp_path: Path) -> None:
    window, session = demo_window, demo_window.session
    assert len(session.project.frames) == 120
    assert len(session.used) == 117
    strip = window.bench.strip
    assert strip.canvas.model is not None

    drag(window, spot(window, 0), spot(window, 66))
    trim_in = session.project.shots[0].trim_in
    assert abs(trim_in - 66) <= 1
    assert session.undo_stack.count() == 1

    light = session.film_light
    assert light is not None
    at, wanted = 80, float(light.film_ev[80]) + 0.5
    QTest.mouseDClick(strip.canvas, LEFT, pos=spot(window, at, wanted))
    (peg,) = session.project.light.pegs
    assert peg.frame == at
    assert peg.film_ev == pytest.approx(wanted, abs=0.1)
    assert session.film_light is not None
    assert session.film_light.film_ev[at] == pytest.approx(peg.film_ev, abs=0.02)

    drag(window, spot(window, at, peg.film_ev), spot(window, at, peg.film_ev - 0.4))
    assert session.project.light.pegs[0].film_ev < peg.film_ev - 0.2
    window.menus.actions["undo"].trigger()
    assert session.project.light.pegs == (peg,)
    window.menus.actions["undo"].trigger()
    assert not session.project.light.pegs
    assert session.project.shots[0].trim_in == trim_in

    session.move_to(trim_in + 23)
    QTest.keyClick(strip, Qt.Key.Key_O)
    assert len(session.used) == 24
    output = tmp_path / "demo.mp4"
    window.bench.foot.set_path(output, confirmed=False)
    QTest.mouseClick(window.bench.foot.make, LEFT)
    until(lambda: not window.filming.busy and output.exists())
    with av.open(str(output)) as film:
        stream = film.streams.video[0]
        assert (stream.codec_context.width, stream.codec_context.height) == (960, 640)
        assert stream.average_rate == 25
        frames = [frame.to_ndarray(format="gray") for frame in film.decode(video=0)]
    assert len(frames) == 24
    assert all(15 < frame.mean() < 200 for frame in frames)
    assert list(tmp_path.glob(".*")) == []


def test_the_strip_fills_while_the_survey_runs(window: MainWindow, demo: Path, until: Until) -> None:
    window.open_paths([demo])
    until(lambda: len(window.session.measures) >= 10)
    assert window.session.film_light is None, "the survey still runs"
    assert window.work_bar.isVisible()
    assert window.bench.strip.canvas.model is not None
    window.session.move_to(5)
    assert window.session.playhead == 5, "the user works meanwhile"
    until(lambda: window.session.film_light is not None and not window.opener.busy)
