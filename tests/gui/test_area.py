"""The metering area in the window: chosen, seen, dragged and moved by keys; the picture below goes on as it did."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import QPoint, QPointF, QRectF, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QWidget

from lapsebench.core.area import AreaKind, MeteringArea
from lapsebench.core.horizon import Horizon
from lapsebench.gui.area_grips import POINTS, point_grips
from lapsebench.gui.framelayer import FrameLayer
from lapsebench.gui.picture_area import AreaLayer
from lapsebench.gui.session import Session
from lapsebench.gui.window import MainWindow

Until = Callable[[Callable[[], bool]], None]
SKYLINE = (0.7,) * 64


def choose(window: MainWindow, kind: AreaKind) -> None:
    """Choose a kind of area as a user does."""
    box = window.bench.light.measuring.area.kind
    box.setCurrentIndex(box.findData(kind.value))
    box.activated.emit(box.currentIndex())


def area(session: Session) -> MeteringArea:
    """Return the area of the shot that is shown."""
    assert session.shot is not None
    return session.shot.area


@pytest.fixture
def with_horizon(surveyed: MainWindow) -> MainWindow:
    """Return the window on a night whose horizon was found."""
    session = surveyed.session
    assert session.survey is not None
    light = session.survey.shot_lights[0]
    found = replace(light.metering, horizon=Horizon(SKYLINE, 0.9))
    session.finish_survey(replace(session.survey, shot_lights=(replace(light, metering=found),)))
    return surveyed


def drag(window: MainWindow, start: QPointF, by: QPoint) -> None:
    """Drag with the mouse on the picture, as events reach whatever lies on top."""
    layer = window.area_layer
    QTest.mousePress(layer, Qt.MouseButton.LeftButton, pos=start.toPoint())
    for step in range(1, 5):
        QTest.mouseMove(layer, start.toPoint() + by * step / 4)
    QTest.mouseRelease(layer, Qt.MouseButton.LeftButton, pos=start.toPoint() + by)


def on(window: MainWindow, across: float, down: float) -> QPointF:
    """Return a point of the picture view by shares of the picture."""
    rect = window.bench.picture.picture_rect()
    return QPointF(rect.x() + across * rect.width(), rect.y() + down * rect.height())


def brightness(window: MainWindow, across: float, down: float) -> float:
    """Return the mean light of the picture view's pixels around a point."""
    spot = on(window, across, down).toPoint()
    shown = window.bench.picture.grab(QRectF(spot.x() - 8, spot.y() - 8, 16, 16).toRect()).toImage()
    return float(np.mean([shown.pixelColor(x, y).lightnessF() for x in range(shown.width()) for y in range(shown.height())]))


@pytest.mark.parametrize("kind", AreaKind)
def test_choosing_an_area_is_one_step_that_is_undone(surveyed: MainWindow, kind: AreaKind) -> None:
    session, row = surveyed.session, surveyed.bench.light.measuring.area
    other = AreaKind.ELLIPSE if kind is AreaKind.WHOLE else AreaKind.WHOLE
    choose(surveyed, other)
    before = session.undo_stack.count()
    choose(surveyed, kind)
    assert area(session).kind is kind
    assert session.undo_stack.count() == before + 1
    assert surveyed.area_layer.isVisible() == (kind not in (AreaKind.WHOLE,) and surveyed.area_layer.area.kind is kind)
    session.undo_stack.undo()
    assert area(session).kind is other
    assert row.kind.currentData() == other


def test_what_is_not_measured_is_dimmed(with_horizon: MainWindow) -> None:
    plain = [brightness(with_horizon, 0.8, down) for down in (0.3, 0.9)]
    for kind, bright in ((AreaKind.SKY, 0), (AreaKind.GROUND, 1)):
        choose(with_horizon, kind)
        shown = [brightness(with_horizon, 0.8, down) for down in (0.3, 0.9)]
        assert shown[bright] == pytest.approx(plain[bright], abs=0.01)
        assert shown[1 - bright] != pytest.approx(plain[1 - bright], abs=0.02)
    with_horizon.bench.light.measuring.area.show_box.click()
    assert [brightness(with_horizon, 0.8, down) for down in (0.3, 0.9)] == pytest.approx(plain, abs=0.01)


def test_the_horizon_is_dragged_as_a_whole_and_found_again(with_horizon: MainWindow) -> None:
    session, row = with_horizon.session, with_horizon.bench.light.measuring.area
    choose(with_horizon, AreaKind.SKY)
    assert not row.again.isEnabled()
    rect = with_horizon.bench.picture.picture_rect()
    drag(with_horizon, on(with_horizon, 0.625, 0.7), QPoint(0, -40))
    np.testing.assert_allclose(area(session).horizon, 0.7 - 40 / rect.height(), atol=0.01)
    assert session.undo_stack.count() == 2, "a drag is one step"
    assert "by hand" in row.told.text()
    row.again.click()
    assert area(session).horizon == ()
    session.undo_stack.undo()
    QTest.mouseDClick(
        with_horizon.area_layer, Qt.MouseButton.LeftButton, pos=on(with_horizon, 0.625, 0.7 - 40 / rect.height()).toPoint()
    )
    assert area(session).horizon == ()
    assert with_horizon.bench.picture.zoom is None


def test_a_point_of_the_horizon_is_dragged(with_horizon: MainWindow) -> None:
    choose(with_horizon, AreaKind.GROUND)
    drag(with_horizon, on(with_horizon, 1.5 / POINTS, 0.7), QPoint(0, 30))
    line = np.array(area(with_horizon.session).horizon)
    assert line[12] == pytest.approx(0.7 + 30 / with_horizon.bench.picture.picture_rect().height(), abs=0.02)
    assert (line[24:] == 0.7).all()


def test_without_a_horizon_the_line_waits_to_be_dragged(surveyed: MainWindow) -> None:
    choose(surveyed, AreaKind.SKY)
    layer, row = surveyed.area_layer, surveyed.bench.light.measuring.area
    assert layer.proposed
    assert "No horizon was found" in row.told.text()
    assert area(surveyed.session).horizon == ()
    drag(surveyed, on(surveyed, 0.625, 0.75), QPoint(0, -20))
    assert not layer.proposed
    assert len(area(surveyed.session).horizon) == 64


@pytest.mark.parametrize("kind", [AreaKind.RECTANGLE, AreaKind.ELLIPSE])
def test_a_box_is_moved_and_sized_by_mouse(surveyed: MainWindow, kind: AreaKind) -> None:
    choose(surveyed, kind)
    session, rect = surveyed.session, surveyed.bench.picture.picture_rect()
    x, y, width, height = area(session).box
    drag(surveyed, on(surveyed, x + 0.1, y + 0.1), QPoint(30, 20))
    moved = (x + 30 / rect.width(), y + 20 / rect.height(), width, height)
    assert area(session).box == pytest.approx(moved, abs=0.01)
    corner = list(point_grips(area(session), rect))[-1][1]
    drag(surveyed, corner, QPoint(25, -15))
    wanted = (moved[0], moved[1], width + 25 / rect.width(), height - 15 / rect.height())
    assert area(session).box == pytest.approx(wanted, abs=0.01)
    drag(surveyed, on(surveyed, moved[0] + 0.1, moved[1] + 0.1), QPoint(-2000, -2000))
    assert area(session).box[:2] == (0, 0)
    assert session.undo_stack.count() == 4


def test_arrow_keys_move_and_size_a_box_and_not_the_playhead(surveyed: MainWindow) -> None:
    session, layer = surveyed.session, surveyed.area_layer
    choose(surveyed, AreaKind.RECTANGLE)
    x, y, width, height = area(session).box
    session.move_to(5)
    for key in (Qt.Key.Key_Right, Qt.Key.Key_Right, Qt.Key.Key_Up):
        QTest.keyClick(layer, key)
    assert area(session).box == pytest.approx((x + 0.02, y - 0.01, width, height))
    for key in (Qt.Key.Key_Right, Qt.Key.Key_Down):
        QTest.keyClick(layer, key, Qt.KeyboardModifier.ShiftModifier)
    assert area(session).box[2:] == pytest.approx((width + 0.01, height - 0.01))
    assert session.playhead == 5
    assert session.undo_stack.count() == 2, "keys close to each other are one step"
    QTest.keyClick(layer, Qt.Key.Key_Space)
    assert surveyed.player.playing, "other keys go on to the window"


def test_arrow_keys_move_the_horizon_and_its_points(with_horizon: MainWindow) -> None:
    session, layer = with_horizon.session, with_horizon.area_layer
    choose(with_horizon, AreaKind.SKY)
    QTest.keyClick(layer, Qt.Key.Key_Up)
    np.testing.assert_allclose(area(session).horizon, 0.69)
    QTest.keyClick(layer, Qt.Key.Key_Right)
    QTest.keyClick(layer, Qt.Key.Key_Down, Qt.KeyboardModifier.ShiftModifier)
    assert area(session).horizon[4] == pytest.approx(0.74, abs=0.001)
    assert area(session).horizon[20] == pytest.approx(0.69)
    QTest.keyClick(layer, Qt.Key.Key_Delete)
    assert area(session).horizon == ()


def test_divide_zoom_and_pan_work_through_the_area(with_horizon: MainWindow) -> None:
    picture = with_horizon.bench.picture
    choose(with_horizon, AreaKind.RECTANGLE)
    drag(with_horizon, QPointF(on(with_horizon, picture.divide, 0.9)), QPoint(60, 0))
    assert picture.divide > 0.55
    assert not with_horizon.area_layer.hasFocus(), "the arrow keys go on stepping through the frames"
    assert area(with_horizon.session).box == MeteringArea().box
    spot = on(with_horizon, 0.2, 0.9).toPoint()
    QTest.mouseDClick(with_horizon.area_layer, Qt.MouseButton.LeftButton, pos=spot)
    assert picture.zoom is not None
    picture.set_zoom(8.0)
    before, box = picture.picture_rect().topLeft(), area(with_horizon.session).box
    drag(with_horizon, on(with_horizon, 0.45, 0.42), QPoint(-30, -20))
    assert picture.picture_rect().topLeft() - before == QPointF(-30, -20), "zoomed in, a drag inside the box pans"
    assert area(with_horizon.session).box == box
    grips = dict(point_grips(with_horizon.area_layer.area, picture.picture_rect()))
    start = next(iter(grips.values()))
    drag(with_horizon, start, QPoint(30, 0))
    assert area(with_horizon.session).box[0] == pytest.approx(box[0] + 30 / picture.picture_rect().width(), abs=0.01)


def test_tab_reaches_the_row_and_the_area_which_have_names(surveyed: MainWindow) -> None:
    choose(surveyed, AreaKind.SKY)
    surveyed.bench.light.measuring.set_open(True)
    row, layer = surveyed.bench.light.measuring.area, surveyed.area_layer
    seen: list[QWidget] = []
    surveyed.bench.shots.view.setFocus()
    for _ in range(60):
        focus = QApplication.focusWidget() or surveyed.focusWidget()
        assert focus is not None
        seen.append(focus)
        QTest.keyClick(focus, Qt.Key.Key_Tab)
    for control in (layer, row.kind, row.show_box):
        assert control in seen
    assert layer.accessibleName()
    assert layer.accessibleDescription()
    assert seen.index(row.kind) < seen.index(row.show_box)
    surveyed.bench.light.measuring.area.show_box.click()
    assert not layer.isVisible()


def test_layers_go_with_the_picture_and_show_what_the_keys_move(with_horizon: MainWindow, until: Until) -> None:
    """Both that can be over the picture: the area and the film's frame."""
    picture = with_horizon.bench.picture
    choose(with_horizon, AreaKind.RECTANGLE)
    with_horizon.bench.picture_section.framing.switch.click()
    layers = [*picture.findChildren(AreaLayer), *picture.findChildren(FrameLayer)]
    for width in (1400, 1280):
        before = picture.width()
        with_horizon.resize(width, 800)
        until(lambda before=before: picture.width() != before)  # type: ignore[misc]
        assert [layer.geometry() for layer in layers] == [picture.rect()] * 2
    for layer in layers:
        layer.setFocus()
        focused = picture.grab().toImage()
        with_horizon.bench.strip.setFocus()
        assert picture.grab().toImage() != focused
