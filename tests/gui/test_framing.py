"""What the film shows of a shot, chosen in the window: dragged, moved by keys, straightened, moving, seen, and filmed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import cos, radians, sin
from pathlib import Path

import av
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from PySide6.QtCore import QPoint, QPointF, QRectF, Qt
from PySide6.QtTest import QTest

from lapsebench.core.area import AreaKind
from lapsebench.core.filmsettings import Crop
from lapsebench.core.shots import split_shot
from lapsebench.core.view import Aim, View
from lapsebench.gui.commands import change_film, change_shot
from lapsebench.gui.helpwindows import KeysWindow
from lapsebench.gui.picture import Side
from lapsebench.gui.sections.framing import FramingBox
from lapsebench.gui.window import MainWindow
from lapsebench.services.filmplan import film_plan

Until = Callable[[Callable[[], bool]], None]
HALF = Aim(0.5, 0.5, 0.5)


def view_of(window: MainWindow) -> View:
    """Return the view of the shot that is shown."""
    assert window.session.shot is not None
    return window.session.shot.view


def box(window: MainWindow) -> FramingBox:
    """Return the controls of the framing."""
    return window.bench.picture_section.framing


def crop(window: MainWindow) -> NDArray[np.float64]:
    """Return the corners of what the film shows of the frame that is seen, (4, 2) shares."""
    polygon = window.bench.picture.crop
    assert polygon is not None
    return np.array([(point.x(), point.y()) for point in polygon.toList()])


def on(window: MainWindow, across: float, down: float) -> QPointF:
    """Return a point of the picture view by shares of the picture."""
    rect = window.bench.picture.picture_rect()
    return QPointF(rect.x() + across * rect.width(), rect.y() + down * rect.height())


def drag(window: MainWindow, start: QPointF, across: float, down: float) -> None:
    """Drag with the mouse by shares of the picture, on whatever lies on top there."""
    rect = window.bench.picture.picture_rect()
    by = QPoint(round(across * rect.width()), round(down * rect.height()))
    view = window.bench.picture
    top = view.childAt(start.toPoint()) or view
    QTest.mousePress(top, Qt.MouseButton.LeftButton, pos=start.toPoint())
    for step in range(1, 5):
        QTest.mouseMove(top, start.toPoint() + by * step / 4)
    QTest.mouseRelease(top, Qt.MouseButton.LeftButton, pos=start.toPoint() + by)


def light(window: MainWindow, across: float, down: float) -> float:
    """Return the mean light of the picture view around a point."""
    spot = on(window, across, down).toPoint()
    shown = window.bench.picture.grab(QRectF(spot.x() - 4, spot.y() - 4, 8, 8).toRect()).toImage()
    return float(np.mean([shown.pixelColor(x, y).lightnessF() for x in range(shown.width()) for y in range(shown.height())]))


def set_view(window: MainWindow, view: View) -> None:
    """Set what is shown of the first shot."""
    window.session.edit("", change_shot(0, view=view))


@pytest.fixture
def framing(surveyed: MainWindow) -> MainWindow:
    """Return the window with half of the picture framed, and the frame there to be dragged."""
    surveyed.bench.picture_section.set_open(True)
    surveyed.bench.picture.set_side(Side.FILM)
    set_view(surveyed, View(HALF))
    surveyed.session.undo_stack.clear()
    box(surveyed).switch.click()
    return surveyed


def test_a_drag_inside_moves_the_frame_and_is_one_step(framing: MainWindow) -> None:
    drag(framing, on(framing, 0.4, 0.4), 0.15, -0.1)
    moved = view_of(framing).start
    assert (moved.x, moved.y, moved.scale) == pytest.approx((0.65, 0.4, 0.5), abs=0.005)
    assert framing.session.undo_stack.count() == 1
    assert crop(framing).mean(axis=0) == pytest.approx([0.65, 0.4], abs=0.005)
    framing.session.undo_stack.undo()
    assert view_of(framing) == View(HALF)


def test_the_frame_stays_within_the_picture(framing: MainWindow) -> None:
    drag(framing, on(framing, 0.4, 0.4), -3.0, 2.0)
    aim = view_of(framing).start
    assert (aim.x, aim.y) == pytest.approx((0.25, 0.75), abs=1e-6)
    assert crop(framing).min() == pytest.approx(0, abs=1e-6)
    assert crop(framing).max() == pytest.approx(1, abs=1e-6)


@pytest.mark.parametrize("turn", [0.0, 8.0])
@pytest.mark.parametrize("corner", range(4))
def test_a_corner_scales_about_the_one_opposite(framing: MainWindow, corner: int, turn: float) -> None:
    set_view(framing, View(HALF, turn_deg=turn))
    before = crop(framing)
    inwards = 0.3 * (before[(corner + 2) % 4] - before[corner])
    steps = framing.session.undo_stack.count()
    drag(framing, on(framing, *before[corner]), *inwards)
    after = crop(framing)
    assert view_of(framing).start.scale == pytest.approx(0.5 * 0.7, abs=0.01)
    # a film has even pixels both ways, which changes the shape of so small a one by up to a pixel
    assert after[(corner + 2) % 4] == pytest.approx(before[(corner + 2) % 4], abs=1 / 144)
    assert framing.session.undo_stack.count() == steps + 1


def test_keys_move_and_scale_the_frame_and_not_the_playhead(framing: MainWindow) -> None:
    session, layer = framing.session, framing.bench.picture_section.frame_layer
    session.move_to(5)
    assert layer.hasFocus(), "switched on, the frame takes the keys"
    for key in (Qt.Key.Key_Right, Qt.Key.Key_Right, Qt.Key.Key_Up):
        QTest.keyClick(layer, key)
    assert view_of(framing).start == Aim(0.52, 0.49, 0.5)
    QTest.keyClick(layer, Qt.Key.Key_Left, Qt.KeyboardModifier.ShiftModifier)
    assert view_of(framing).start == Aim(0.47, 0.49, 0.5)
    QTest.keyClick(layer, Qt.Key.Key_Plus)
    larger = view_of(framing).start.scale
    assert larger > 0.5
    QTest.keyClick(layer, Qt.Key.Key_Minus)
    assert view_of(framing).start.scale == pytest.approx(0.5, abs=1e-5)
    assert session.playhead == 5
    assert session.undo_stack.count() == 1, "keys close to each other are one step"
    QTest.keyClick(layer, Qt.Key.Key_Escape)
    assert not layer.isVisible()
    assert not box(framing).switch.isChecked()


def test_straightening_by_a_drag_is_one_step_with_a_grid_while_it_lasts(surveyed: MainWindow) -> None:
    window, slider = surveyed, box(surveyed).turn.slider
    window.bench.picture.set_side(Side.FILM)
    set_view(window, View(HALF))
    steps = window.session.undo_stack.count()
    slider.sliderPressed.emit()
    for step in (10, 45, 100):
        slider.setValue(step)
    with_grid = window.bench.picture.grab().toImage()
    slider.sliderReleased.emit()
    assert window.bench.picture.grab().toImage() != with_grid
    assert view_of(window).turn_deg == 10.0
    assert box(window).turn.value_label.text() == "+10.0°"
    assert window.session.undo_stack.count() == steps + 1
    along = (crop(window)[1] - crop(window)[0]) * (144, 96)
    # turned clockwise by 10 degrees the frame's upper edge is level: in the picture it rises to the right by as much
    assert along / np.hypot(*along) == pytest.approx([cos(radians(10)), -sin(radians(10))], abs=1e-6)
    window.session.undo_stack.undo()
    assert slider.value() == 0


def test_the_end_begins_as_the_start_and_is_dragged_by_itself(framing: MainWindow) -> None:
    session, controls = framing.session, box(framing)
    assert not controls.end.isVisible()
    controls.moves.click()
    assert view_of(framing) == View(HALF, HALF)
    assert controls.end.isChecked()
    assert session.playhead == 11, "the end is framed on the last picture"
    drag(framing, on(framing, 0.4, 0.4), 0.1, 0.0)
    assert view_of(framing).start == HALF
    end = view_of(framing).end
    assert end is not None
    assert end.x == pytest.approx(0.6, abs=0.005)
    controls.start.click()
    assert session.playhead == 0
    drag(framing, on(framing, 0.4, 0.4), -0.1, 0.0)
    assert view_of(framing).start.x == pytest.approx(0.4, abs=0.005)
    assert view_of(framing).end == end
    controls.moves.click()
    assert view_of(framing).end is None
    assert not controls.end.isVisible()


def test_the_crop_follows_the_playhead_and_the_playback(surveyed: MainWindow, until: Until) -> None:
    session = surveyed.session
    set_view(surveyed, View(Aim(0.3, 0.5, 0.5), Aim(0.7, 0.5, 0.5)))
    seen = []
    for frame in range(12):
        session.move_to(frame)
        seen.append(crop(surveyed).mean(axis=0)[0])
    assert (seen[0], seen[-1]) == pytest.approx((0.3, 0.7), abs=0.002)
    assert (np.diff(seen) > 0).all()
    session.move_to(0)
    surveyed.player.toggle()
    until(lambda: session.playhead > 2)
    assert crop(surveyed).mean(axis=0)[0] == pytest.approx(seen[session.playhead], abs=1e-9)
    surveyed.player.pause()


def test_a_turned_crop_is_dimmed_outside_unless_not_wanted(surveyed: MainWindow) -> None:
    surveyed.bench.picture.set_side(Side.FILM)
    plain = [light(surveyed, *spot) for spot in ((0.5, 0.5), (0.1, 0.1), (0.9, 0.9))]
    set_view(surveyed, View(HALF, turn_deg=10.0))
    shown = [light(surveyed, *spot) for spot in ((0.5, 0.5), (0.1, 0.1), (0.9, 0.9))]
    assert shown[0] == pytest.approx(plain[0], abs=0.01)
    assert max(shown[1] / plain[1], shown[2] / plain[2]) < 0.6
    surveyed.bench.picture_section.dim.click()
    assert light(surveyed, 0.1, 0.1) == pytest.approx(plain[1], abs=0.01)


@pytest.mark.parametrize("turn", [0.0, 12.0])
def test_the_films_frame_alone_is_shown_upright(surveyed: MainWindow, until: Until, turn: float) -> None:
    """Each spot of the frame shown alone is as light as the place in the picture that it comes from."""
    picture, session = surveyed.bench.picture, surveyed.session
    picture.set_side(Side.FILM)
    surveyed.bench.picture_section.dim.click()
    set_view(surveyed, View(Aim(0.4, 0.45, 0.6), turn_deg=turn))
    until(lambda: surveyed.feed._sharp is not None)
    top_left, top_right, _, bottom_left = crop(surveyed)
    spots = [(across, down) for across in (0.2, 0.5, 0.8) for down in (0.3, 0.6)]
    places = [top_left + a * (top_right - top_left) + d * (bottom_left - top_left) for a, d in spots]
    before = [light(surveyed, *place) for place in places]
    surveyed.bench.picture_section.framed.click()
    rect = picture.picture_rect()
    width, height = film_plan(session.project, session.used).size
    assert rect.width() / rect.height() == pytest.approx(width / height, abs=0.01)
    after = [light(surveyed, *spot) for spot in spots]
    assert np.corrcoef(before, after)[0, 1] > 0.95
    session.step(1)
    assert picture.picture_rect() == rect
    for spot, place in zip(spots, places, strict=True):
        seen = picture.spot_at(on(surveyed, *spot))
        assert (seen.x(), seen.y()) == pytest.approx(tuple(place), abs=0.002), "a picked grey is taken where it is seen"
    surveyed.bench.picture_section.framed.click()
    assert [light(surveyed, *place) for place in places] == pytest.approx(before, abs=0.02)


def test_framing_and_the_frame_alone_take_turns(surveyed: MainWindow) -> None:
    section, row = surveyed.bench.picture_section, surveyed.bench.light.measuring.area
    row.kind.setCurrentIndex(row.kind.findData(AreaKind.ELLIPSE.value))
    row.kind.activated.emit(row.kind.currentIndex())
    assert surveyed.area_layer.isVisible()
    section.framed.click()
    assert surveyed.bench.picture.framed
    assert not surveyed.area_layer.isVisible(), "the metering area lies in all of the picture"
    section.framing.switch.click()
    assert not surveyed.bench.picture.framed
    assert not section.framed.isChecked()
    assert surveyed.area_layer.isVisible()
    top = surveyed.bench.picture.childAt(on(surveyed, 0.3, 0.5).toPoint())
    assert top is section.frame_layer
    section.framed.click()
    assert not section.frame_layer.isVisible()
    section.framed.click()
    assert surveyed.bench.picture.childAt(on(surveyed, 0.3, 0.5).toPoint()) is surveyed.area_layer


def test_the_divide_and_zoom_work_through_the_frame(framing: MainWindow) -> None:
    picture = framing.bench.picture
    picture.set_side(Side.DIVIDED)
    drag(framing, on(framing, picture.divide, 0.7), 0.1, 0.0)
    assert picture.divide == pytest.approx(0.6, abs=0.01)
    assert view_of(framing).start == HALF
    QTest.mouseDClick(
        framing.bench.picture_section.frame_layer, Qt.MouseButton.LeftButton, pos=on(framing, 0.4, 0.4).toPoint()
    )
    assert picture.zoom is not None


def test_what_is_shown_is_told(surveyed: MainWindow) -> None:
    session, told = surveyed.session, box(surveyed).told
    assert told.text() == "Shows 100 % of the picture."
    set_view(surveyed, View(HALF))
    assert told.text() == "Shows 25 % of the picture."
    session.edit("", change_film(crop=Crop.SQUARE))
    assert told.text() == "Shows 17 % of the picture."
    session.edit("", change_film(crop=Crop.SOURCE, size=(144, 96), exact=True))
    assert told.text() == "Shows 25 % of the picture. Enlarged 2.0 ×: choose a smaller size or frame more."
    set_view(surveyed, View(Aim(), HALF))
    assert "100 % of the picture at the start and 25 % at the end" in told.text()


def test_back_to_all_and_for_all_shots(surveyed: MainWindow) -> None:
    session, controls = surveyed.session, box(surveyed)
    session.edit("", lambda project: replace(project, shots=split_shot(project.shots[0], [6], "cut")))
    assert not controls.share.isEnabled()
    set_view(surveyed, View(HALF, turn_deg=3.0))
    controls.share.click()
    assert [shot.view for shot in session.project.shots] == [View(HALF, turn_deg=3.0)] * 2
    assert not controls.share.isEnabled()
    controls.reset.click()
    assert [shot.view for shot in session.project.shots] == [View(), View(HALF, turn_deg=3.0)]
    assert surveyed.bench.picture.crop is None
    session.move_to(8)
    assert controls.turn.slider.value() == 30, "each shot has its own"
    assert surveyed.bench.picture.crop is not None


def test_upright_pictures_in_a_wide_film_are_not_framed(surveyed: MainWindow) -> None:
    session = surveyed.session
    shots = split_shot(session.project.shots[0], [6], "cut")
    frames = tuple(replace(f, width=96, height=144) if i >= 6 else f for i, f in enumerate(session.project.frames))
    session.open(replace(session.project, shots=shots, frames=frames), ())
    session.move_to(8)
    assert not box(surveyed).switch.isEnabled()
    assert box(surveyed).told.text() == "These pictures go into the film whole, on black."


def test_the_film_has_the_framed_part(framing: MainWindow, tmp_path: Path, until: Until) -> None:
    drag(framing, on(framing, 0.4, 0.4), 0.2, 0.1)
    film = tmp_path / "film.mp4"
    framing.bench.foot.set_path(film, confirmed=False)
    framing.session.edit("", change_film(quality=100))
    QTest.mouseClick(framing.bench.foot.make, Qt.MouseButton.LeftButton)
    until(lambda: not framing.filming.busy)
    with av.open(str(film)) as container:
        made = next(container.decode(video=0)).to_ndarray(format="rgb24").astype(float).mean(axis=2)
    assert made.shape == (48, 72)
    left, top = (round(share * side) for share, side in zip(crop(framing)[0], (144, 96), strict=True))
    still = np.asarray(Image.open(framing.session.project.frames[0].path).convert("RGB"), float).mean(axis=2)
    assert np.corrcoef(made.ravel(), still[top : top + 48, left : left + 72].ravel())[0, 1] > 0.94
    assert np.corrcoef(made.ravel(), still[24:72, 36:108].ravel())[0, 1] < 0.7, "and not the part before it was dragged"


def test_the_frames_keys_are_listed_and_its_controls_are_named(framing: MainWindow) -> None:
    keys = KeysWindow(framing.menus.actions, framing)
    listed = {item.text() for row in range(keys.table.rowCount()) if (item := keys.table.item(row, 1))}
    assert "Move the film's frame, while it has the focus" in listed
    controls = box(framing)
    for control in (
        controls.start,
        controls.end,
        controls.share,
        controls.turn.slider,
        framing.bench.picture_section.framed,
    ):
        assert control.accessibleName()
    assert framing.bench.picture_section.frame_layer.accessibleDescription()
