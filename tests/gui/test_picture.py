"""The picture view: fit, 100 %, panning, the divide, and that the sharp picture follows the playhead."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot

from lapsebench.gui.picture import PictureView, Side, to_image
from lapsebench.gui.redlight import reddened
from lapsebench.gui.window import MainWindow
from lapsebench.services import preview
from lapsebench.services.preview import with_gain

Until = Callable[[Callable[[], bool]], None]


@pytest.fixture
def view(qtbot: QtBot) -> PictureView:
    """Return a view of 400 x 300 on a red and a blue picture of 1200 x 600."""
    made = PictureView()
    qtbot.addWidget(made)
    made.resize(400, 300)
    made.set_source(1200, 600)
    red, blue = np.zeros((60, 120, 3), np.uint8), np.zeros((60, 120, 3), np.uint8)
    red[..., 0], blue[..., 2] = 255, 255
    made.set_pictures(to_image(red), to_image(blue))
    made.show()
    return made


def test_fit_shows_the_whole_picture(view: PictureView) -> None:
    rect = view.picture_rect()
    assert (rect.width(), rect.height()) == pytest.approx((400, 200), abs=1)
    assert view.wanted_long_side() == round(400 * view.devicePixelRatioF())


def test_the_divide_shows_before_at_its_left(view: PictureView) -> None:
    shown = view.grab().toImage()
    assert shown.pixelColor(50, 150).red() > 200
    assert shown.pixelColor(350, 150).blue() > 200
    QTest.mousePress(view, Qt.MouseButton.LeftButton, pos=QPoint(200, 100))
    QTest.mouseMove(view, QPoint(360, 100))
    QTest.mouseRelease(view, Qt.MouseButton.LeftButton, pos=QPoint(360, 100))
    assert view.divide == pytest.approx(0.9, abs=0.01)
    view.set_side(Side.FILM)
    assert view.grab().toImage().pixelColor(50, 150).blue() > 200
    view.set_side(Side.BEFORE)
    assert view.grab().toImage().pixelColor(350, 150).red() > 200


def test_hundred_percent_pans_and_stays_on_the_picture(view: PictureView) -> None:
    view.set_side(Side.FILM)
    view.set_zoom(1.0)
    assert view.wanted_long_side() is None
    start = view.picture_rect().topLeft()
    QTest.mousePress(view, Qt.MouseButton.LeftButton, pos=QPoint(200, 150))
    QTest.mouseMove(view, QPoint(150, 120))
    assert view.picture_rect().topLeft() - start == QPointF(-50, -30)
    QTest.mouseMove(view, QPoint(-2000, -2000))
    QTest.mouseRelease(view, Qt.MouseButton.LeftButton, pos=QPoint(-2000, -2000))
    assert view.picture_rect().right() == pytest.approx(view.width(), abs=1)


def test_zooming_keeps_the_point_under_the_pointer(view: PictureView) -> None:
    at = QPointF(120, 140)
    before = view.picture_rect()
    spot = (at.x() - before.x()) / before.width()
    view.zoom_by(4.0, at)
    after = view.picture_rect()
    assert (at.x() - after.x()) / after.width() == pytest.approx(spot, abs=0.01)
    view.zoom_by(0.1)
    assert view.zoom is None


def test_the_sharp_picture_follows_the_playhead(surveyed: MainWindow, until: Until) -> None:
    feed, session = surveyed.feed, surveyed.session
    session.move_to(9)
    until(lambda: feed._sharp is not None and feed._sharp.frame == 9)
    assert feed._sharp is not None
    assert feed._sharp.film is not None
    wanted = preview.picture(session.project.frames[9], session.gain(9), long_side=feed._sharp.long_side)
    assert np.array_equal(feed._sharp.film.pixels, wanted)


def test_a_moving_slider_shows_what_the_file_will_give(surveyed: MainWindow, until: Until) -> None:
    feed, session = surveyed.feed, surveyed.session
    until(lambda: feed._sharp is not None)
    assert feed._sharp is not None
    assert feed._sharp.before is not None
    exact = preview.picture(session.project.frames[0], 0.5, long_side=feed._sharp.long_side)
    quick = with_gain(feed._sharp.before.pixels, 0.5)
    assert np.abs(quick.astype(int) - exact.astype(int)).max() <= 2


def test_red_light_leaves_no_blue_or_green_worth_seeing(view: PictureView) -> None:
    pixels = reddened(view.grab()).pixelColor(350, 150)
    assert pixels.red() > 200
    assert pixels.green() < 70
    assert pixels.blue() < 70
