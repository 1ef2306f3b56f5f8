"""The night strip, used as a user would: mouse and keys on the canvas, checks on signals and data."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from time import perf_counter

import numpy as np
import pytest
from PySide6.QtCore import QPoint, QPointF, Qt, SignalInstance
from PySide6.QtGui import QFontMetricsF, QWheelEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from lapsebench.core.filmlight import FilmLight, LightSettings, Peg
from lapsebench.core.metering import COLS, ROWS, FrameMeasure
from lapsebench.core.project import Project
from lapsebench.core.separation import Light
from lapsebench.core.sequence import Fault, Frame, Shot
from lapsebench.gui.nightstrip import NightStrip
from lapsebench.gui.strip_axes import frame_ticks
from lapsebench.gui.strip_marks import change_labels
from lapsebench.gui.strip_menu import FrameMenu
from lapsebench.gui.strip_model import Curve, StripModel, setting_changes
from lapsebench.gui.strip_plot import line, steps
from lapsebench.gui.strip_style import FAULT_MARKS

pytestmark = pytest.mark.qt_log_ignore(
    "This plugin does not support propagateSizeHints"
)  # offscreen says it of every window

FIRST, COUNT = 10, 120
LEFT, SHIFT = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.ShiftModifier


def make_project(count: int = COUNT, first: int = FIRST) -> Project:
    """Return a project of one shot of `count` frames after `first` frames of another."""
    start = datetime(2026, 2, 11, 21, 4, 10, tzinfo=UTC)
    settings = [(10.0, 2.8, 1600.0), (4.0, 2.8, 1600.0), (4.0, 2.8, 3200.0), (4.0, 2.0, 3200.0)]
    frames = []
    for i in range(first + count):
        shutter, f_number, iso = settings[min(max(i - first, 0) * 4 // count, 3)]
        faults = frozenset({Fault.STRAY_LIGHT}) if i == first + 20 else frozenset[Fault]()
        taken = start + timedelta(seconds=14 * i)
        frames.append(Frame(Path(f"F{4000 + i}.jpg"), taken, shutter, f_number, iso, faults=faults))
    shots = (Shot(0, first - 1), Shot(first, first + count - 1)) if first else (Shot(0, count - 1),)
    return Project(frames=tuple(frames), shots=shots)


def make_light(project: Project) -> tuple[Light, FilmLight]:
    """Return a plausible light of all frames of a project; one frame is unknown."""
    n = len(project.frames)
    exposure = np.array([f.exposure_ev for f in project.frames], float)
    scene = -12 + np.sin(np.arange(n) / 9)
    scene[n // 2] = np.nan
    luminance = scene + exposure
    light = Light(
        exposure, luminance, exposure, scene, np.zeros(n), np.zeros(n, bool), np.zeros(n), luminance + 2, np.zeros(n)
    )
    film = np.where(np.isfinite(luminance), scene + 5.5, np.nan)
    return light, FilmLight(film, film - luminance, film - luminance + exposure)


def make_measure(level: float = 0.1, height: int = 96) -> FrameMeasure:
    """Return the measure of a grey frame whose column is red."""
    column = np.zeros((height, 3), np.uint8)
    column[:, 0] = 200
    return FrameMeasure(
        tiles=np.full((ROWS, COLS, 3), level, np.float32),
        clipped=np.zeros((ROWS, COLS, 3), np.float32),
        column=column,
        proxy=b"",
    )


@pytest.fixture
def project() -> Project:
    """Return a project whose second shot is shown."""
    return make_project()


@pytest.fixture
def strip(qtbot: QtBot, project: Project) -> Iterator[NightStrip]:
    """Return a strip that shows a shot with its light, frames 10 to 129 of the project."""
    widget = NightStrip()
    qtbot.addWidget(widget)
    widget.resize(860, 320)
    widget.show()
    qtbot.waitExposed(widget)
    widget.show_shot(project, project.shots[1])
    widget.show_light(*make_light(project), used=set(range(FIRST, FIRST + COUNT)) - {FIRST + 20})
    QApplication.processEvents()
    yield widget
    widget.close()


def model_of(strip: NightStrip) -> StripModel:
    """Return what the strip shows."""
    assert strip.canvas.model is not None
    return strip.canvas.model


def spot(strip: NightStrip, frame: int, ev: float | None = None) -> QPoint:
    """Return the point of the canvas at a project frame: at a height in stops, or in the keogram."""
    view = strip.canvas.view
    y = view.keogram.bottom() - 6 if ev is None else view.y(ev)
    return QPoint(round(view.x(frame - FIRST)), round(y))


def drag(strip: NightStrip, *points: QPoint, button: Qt.MouseButton = LEFT, shift: bool = False) -> None:
    """Press at the first point, move over the others and let go at the last."""
    keys = SHIFT if shift else Qt.KeyboardModifier.NoModifier
    QTest.mousePress(strip.canvas, button, keys, points[0])
    for point in points[1:]:
        QTest.mouseMove(strip.canvas, point)
    QTest.mouseRelease(strip.canvas, button, keys, points[-1])


def record(signal: SignalInstance) -> list[tuple[object, ...]]:
    """Return a list that gets the arguments of every emission."""
    heard: list[tuple[object, ...]] = []
    signal.connect(lambda *args: heard.append(args))
    return heard


def wheel(strip: NightStrip, at: QPoint, turn: int) -> None:
    """Turn the wheel over a point of the canvas."""
    where = QPointF(at)
    event = QWheelEvent(
        where,
        strip.canvas.mapToGlobal(where),
        QPoint(),
        QPoint(0, turn),
        Qt.MouseButton.NoButton,
        Qt.KeyboardModifier.NoModifier,
        Qt.ScrollPhase.NoScrollPhase,
        False,
    )
    QApplication.sendEvent(strip.canvas, event)


def test_click_chooses_the_frame_under_it(strip: NightStrip) -> None:
    chosen = record(strip.frame_chosen)
    QTest.mouseClick(strip.canvas, LEFT, pos=spot(strip, 57))
    assert chosen == [(57,)]
    assert model_of(strip).playhead == 57
    assert strip.window().focusWidget() is strip


def test_dragging_scrubs_from_frame_to_frame(strip: NightStrip) -> None:
    chosen = record(strip.frame_chosen)
    drag(strip, spot(strip, 40), spot(strip, 41), spot(strip, 43))
    assert chosen == [(40,), (41,), (43,)]


def test_owner_moves_the_playhead_without_a_signal(strip: NightStrip) -> None:
    chosen = record(strip.frame_chosen)
    strip.set_playhead(99)
    assert model_of(strip).playhead == 99
    assert not chosen


def test_dragging_the_in_handle_trims_and_ends_with_one_final(strip: NightStrip) -> None:
    trims = record(strip.trim_changed)
    chosen = record(strip.frame_chosen)
    drag(strip, spot(strip, FIRST), spot(strip, 30), spot(strip, 50))
    assert [t[2] for t in trims] == [False] * (len(trims) - 1) + [True]
    first, last, _ = trims[-1]
    assert (first, last) == (50, 129) or (first, last) == (51, 129)
    assert not chosen


def test_in_handle_stops_at_the_out_handle(strip: NightStrip) -> None:
    strip.set_trim(FIRST, 60)
    trims = record(strip.trim_changed)
    drag(strip, spot(strip, FIRST), spot(strip, 50), spot(strip, 100))
    assert trims[-1] == (60, 60, True)


def test_out_handle_at_the_edge_can_be_taken_by_its_ear(strip: NightStrip) -> None:
    trims = record(strip.trim_changed)
    view = strip.canvas.view
    ear = QPoint(round(view.plot.right()) + 5, round(view.keogram.center().y()))
    drag(strip, ear, spot(strip, 110), spot(strip, 100))
    assert trims[-1][0] == FIRST
    assert trims[-1][1] in (99, 100)
    assert trims[-1][2] is True


def test_click_on_a_handle_only_chooses_its_frame(strip: NightStrip) -> None:
    strip.set_trim(40, 100)
    trims, chosen = record(strip.trim_changed), record(strip.frame_chosen)
    QTest.mouseClick(strip.canvas, LEFT, pos=spot(strip, 40))
    assert not trims
    assert chosen == [(40,)]


def test_escape_puts_back_a_dragged_handle(strip: NightStrip) -> None:
    trims = record(strip.trim_changed)
    QTest.mousePress(strip.canvas, LEFT, pos=spot(strip, FIRST))
    QTest.mouseMove(strip.canvas, spot(strip, 60))
    QTest.keyClick(strip, Qt.Key.Key_Escape)
    QTest.mouseRelease(strip.canvas, LEFT, pos=spot(strip, 60))
    assert trims[-1] == (FIRST, 129, True)
    assert model_of(strip).trim == (FIRST, 129)


def test_double_click_places_a_peg_at_frame_and_height(strip: NightStrip) -> None:
    placed = record(strip.peg_placed)
    at = spot(strip, 90, -7.0)
    QTest.mouseClick(strip.canvas, LEFT, pos=at)
    QTest.mouseDClick(strip.canvas, LEFT, pos=at)
    assert len(placed) == 1
    assert placed[0][0] == 90
    assert placed[0][1] == pytest.approx(strip.canvas.view.ev(at.y()))


def test_double_click_on_the_keogram_places_no_peg(strip: NightStrip) -> None:
    placed = record(strip.peg_placed)
    QTest.mouseDClick(strip.canvas, LEFT, pos=spot(strip, 90))
    assert not placed


def test_peg_is_dragged_up_and_down_only(strip: NightStrip) -> None:
    strip.set_pegs([Peg(70, -7.0), Peg(3, -7.0)])
    moved, chosen = record(strip.peg_moved), record(strip.frame_chosen)
    drag(strip, spot(strip, 70, -7.0), spot(strip, 72, -6.5), spot(strip, 80, -6.0))
    assert [m[2] for m in moved] == [False] * (len(moved) - 1) + [True]
    assert {m[0] for m in moved} == {70}
    assert moved[-1][1] == pytest.approx(-6.0, abs=0.1)
    assert [p.frame for p in model_of(strip).pegs] == [70]
    assert not chosen


def test_peg_taken_away_while_dragged_is_let_go(strip: NightStrip) -> None:
    strip.set_pegs([Peg(70, -7.0)])
    moved = record(strip.peg_moved)
    QTest.mousePress(strip.canvas, LEFT, pos=spot(strip, 70, -7.0))
    strip.set_pegs([])
    QTest.mouseMove(strip.canvas, spot(strip, 70, -6.0))
    QTest.mouseRelease(strip.canvas, LEFT, pos=spot(strip, 70, -6.0))
    assert not moved


def test_same_shot_shown_again_does_not_end_a_drag(strip: NightStrip, project: Project) -> None:
    trims = record(strip.trim_changed)
    QTest.mousePress(strip.canvas, LEFT, pos=spot(strip, FIRST))
    QTest.mouseMove(strip.canvas, spot(strip, 30))
    strip.show_shot(project, replace(project.shots[1], trim_in=model_of(strip).trim[0]))
    QTest.mouseMove(strip.canvas, spot(strip, 50))
    QTest.mouseRelease(strip.canvas, LEFT, pos=spot(strip, 50))
    assert trims[-1][0] in (50, 51)
    assert trims[-1][2] is True


def test_keys_tend_the_chosen_peg(strip: NightStrip) -> None:
    removed, moved, placed = record(strip.peg_removed), record(strip.peg_moved), record(strip.peg_placed)
    strip.set_playhead(50)
    QTest.keyClick(strip, Qt.Key.Key_Delete)
    assert not removed
    QTest.keyClick(strip, Qt.Key.Key_Insert)
    assert placed == [(50, pytest.approx(model_of(strip).film[50 - FIRST]))]
    strip.set_pegs([Peg(50, -7.0), Peg(80, -6.0)])
    QTest.keyClick(strip, Qt.Key.Key_Up)
    assert moved == [(50, pytest.approx(-6.9), True)]
    QTest.mouseClick(strip.canvas, LEFT, pos=spot(strip, 80, -6.0))
    QTest.keyClick(strip, Qt.Key.Key_Delete)
    assert removed == [(80,)]


def test_keys_go_along_the_night(strip: NightStrip) -> None:
    strip.set_trim(20, 100)
    strip.set_playhead(50)
    chosen = record(strip.frame_chosen)
    for key, keys in (
        (Qt.Key.Key_Right, Qt.KeyboardModifier.NoModifier),
        (Qt.Key.Key_Right, SHIFT),
        (Qt.Key.Key_Left, Qt.KeyboardModifier.NoModifier),
        (Qt.Key.Key_Left, SHIFT),
        (Qt.Key.Key_End, Qt.KeyboardModifier.NoModifier),
        (Qt.Key.Key_Home, Qt.KeyboardModifier.NoModifier),
    ):
        QTest.keyClick(strip, key, keys)
    assert [c[0] for c in chosen] == [51, 61, 60, 50, 100, 20]


def test_playhead_stays_within_the_shot(strip: NightStrip) -> None:
    strip.set_playhead(FIRST + 3)
    QTest.keyClick(strip, Qt.Key.Key_Left, SHIFT)
    assert model_of(strip).playhead == FIRST


def test_keys_i_and_o_cut_at_the_playhead(strip: NightStrip) -> None:
    trims = record(strip.trim_changed)
    strip.set_playhead(40)
    QTest.keyClick(strip, Qt.Key.Key_I)
    strip.set_playhead(90)
    QTest.keyClick(strip, Qt.Key.Key_O)
    assert trims == [(40, 129, True), (40, 90, True)]


def test_wheel_zooms_about_the_pointer_and_stays_within_the_shot(strip: NightStrip) -> None:
    view = strip.canvas.view
    at = spot(strip, 100)
    before = view.place(at.x())
    wheel(strip, at, 240)
    assert view.span < COUNT
    assert view.place(at.x()) == pytest.approx(before)
    wheel(strip, spot(strip, FIRST + 100), -1200)
    assert (view.left, view.right) == (-0.5, COUNT - 0.5)
    wheel(strip, at, 12000)
    assert view.span == pytest.approx(8)


def test_zoom_buttons_and_keys(strip: NightStrip) -> None:
    view = strip.canvas.view
    QTest.mouseClick(strip.legend.zoom_in, LEFT)
    assert view.span < COUNT
    QTest.mouseClick(strip.legend.zoom_out, LEFT)
    assert view.span == pytest.approx(COUNT)
    QTest.keyClick(strip, Qt.Key.Key_Plus)
    QTest.keyClick(strip, Qt.Key.Key_Plus)
    QTest.keyClick(strip, Qt.Key.Key_Minus)
    assert view.span < COUNT
    QTest.keyClick(strip, Qt.Key.Key_0, Qt.KeyboardModifier.ControlModifier)
    assert view.whole
    QTest.keyClick(strip, Qt.Key.Key_Plus)
    QTest.mouseClick(strip.legend.whole, LEFT)
    assert view.whole


@pytest.mark.parametrize(("button", "shift"), [(Qt.MouseButton.MiddleButton, False), (LEFT, True)])
def test_middle_or_shift_drag_pans(strip: NightStrip, button: Qt.MouseButton, shift: bool) -> None:
    strip.canvas.zoom(3, 60)
    view, chosen = strip.canvas.view, record(strip.frame_chosen)
    before, span = view.left, view.span
    drag(strip, spot(strip, 70), spot(strip, 65), spot(strip, 60), button=button, shift=shift)
    assert view.left > before + 5
    assert view.span == pytest.approx(span)
    assert not chosen


def test_playhead_out_of_sight_turns_the_page(strip: NightStrip) -> None:
    strip.canvas.zoom(6, 10)
    strip.set_playhead(FIRST + 100)
    assert strip.canvas.view.left < 100 < strip.canvas.view.right


def test_measures_fill_the_keogram_as_they_come(qtbot: QtBot, project: Project) -> None:
    strip = NightStrip()
    qtbot.addWidget(strip)
    strip.resize(860, 320)
    strip.show()
    strip.show_shot(project, project.shots[1])
    strip.add_measure(FIRST - 1, make_measure())
    for frame in range(FIRST, FIRST + 30):
        strip.add_measure(frame, make_measure(height=40 + frame))
    assert strip.canvas.keogram.filled.sum() == 30
    assert np.isfinite(model_of(strip).luminance).sum() == 30
    view = strip.canvas.view
    left, right = (QPoint(round(view.x(i)), round(view.keogram.center().y())) for i in (10, 100))
    qtbot.waitUntil(lambda: strip.canvas.grab().toImage().pixelColor(left).red() > 150)
    assert strip.canvas.grab().toImage().pixelColor(right) == strip.canvas.layers.style.empty


def test_many_measures_repaint_seldom(qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    project = make_project(2000, 0)
    strip = NightStrip()
    qtbot.addWidget(strip)
    strip.resize(860, 320)
    strip.show()
    strip.show_shot(project, project.shots[0])
    painted = 0
    draw = strip.canvas.refresh

    def count() -> None:
        nonlocal painted
        painted += 1
        draw()

    monkeypatch.setattr(strip.canvas, "refresh", count)
    measure, start = make_measure(), perf_counter()
    for frame in range(2000):
        strip.add_measure(frame, measure)
        QApplication.processEvents()
    assert painted <= (perf_counter() - start) / 0.1 + 1


def test_same_frames_keep_their_keogram_and_others_do_not(strip: NightStrip, project: Project) -> None:
    strip.add_measure(50, make_measure())
    strip.canvas.zoom(2)
    span = strip.canvas.view.span
    strip.show_shot(project, replace(project.shots[1], trim_in=30))
    assert strip.canvas.keogram.filled.sum() == 1
    assert strip.canvas.view.span == span
    assert model_of(strip).trim == (30, 129)
    strip.show_shot(project, project.shots[0])
    assert not strip.canvas.keogram.filled.any()
    assert strip.canvas.view.span == FIRST


def test_unknown_light_leaves_gaps(strip: NightStrip, project: Project) -> None:
    model = model_of(strip)
    unknown = len(project.frames) // 2 - FIRST
    assert np.isnan(model.film[unknown])
    assert np.isnan(model.luminance[unknown])
    assert np.isfinite(np.delete(model.film, unknown)).all()
    light, film = make_light(project)
    nothing = np.full(len(project.frames), np.nan)
    strip.show_light(replace(light, luminance_ev=nothing, scene_ev=nothing, exposure_ev=nothing), film, set())
    strip.show_film(FilmLight(nothing, nothing, nothing))
    strip.grab()


def test_lines_break_where_nothing_is_known_and_show_lone_frames() -> None:
    at, heights, joined = line(np.array([1.0, 2.0, np.nan, 3.0, np.nan, 4.0, 5.0]), 1.0)
    assert at.tolist() == [0, 1, 3, 3.4, 5, 6]
    assert heights.tolist() == [1, 2, 3, 3, 4, 5]
    assert joined.tolist() == [True, False, True, False, True, False]


def test_staircase_has_one_step_for_each_setting() -> None:
    edges, heights = steps(np.array([1.0, 1.0, np.nan, 2.0, 2.0]))
    assert edges.tolist() == [-0.5, 1.5, 2.5, 4.5]
    assert heights.tolist() == pytest.approx([1, np.nan, 2], nan_ok=True)


def test_what_is_drawn_leaves_mouse_and_keys_to_the_strip(strip: NightStrip) -> None:
    assert strip.childAt(strip.canvas.mapTo(strip, spot(strip, 60))) is strip.canvas
    strip.setFocus()
    for _ in range(12):
        QTest.keyClick(strip.window().focusWidget(), Qt.Key.Key_Tab)
        assert not strip.canvas.isAncestorOf(strip.window().focusWidget())


def test_odd_shots_paint(strip: NightStrip) -> None:
    bare = Frame(Path("a"))
    for count in (1, 3):
        strip.show_shot(Project(frames=(bare,) * count, shots=(Shot(0, count - 1),)), Shot(0, count - 1))
        strip.add_measure(0, make_measure())
        strip.canvas.zoom(2)
        strip.legend.buttons[Curve.EXPOSURE].setChecked(count == 1)
        QApplication.processEvents()
        assert strip.canvas.view.count == count


def test_left_out_frames_are_bridged_in_the_film(strip: NightStrip) -> None:
    model = model_of(strip)
    assert not model.used[20]
    assert model.film_seen[20] == pytest.approx((model.film[19] + model.film[21]) / 2)


def test_stops_fit_what_is_seen_and_ignore_left_out_frames(strip: NightStrip, project: Project) -> None:
    light, film = make_light(project)
    light.luminance_ev[FIRST + 20] = -20.0
    strip.show_light(light, film, set(range(FIRST, FIRST + COUNT)) - {FIRST + 20})
    view = strip.canvas.view
    assert view.low > -15
    assert view.low < np.nanmin(film.film_ev)
    assert view.high > np.nanmax(film.film_ev)


def test_setting_changes_name_only_what_changed(project: Project) -> None:
    changes = setting_changes(project.frames[FIRST:])
    assert [c.text for c in changes] == ["10 s → 4 s", "ISO 1600 → 3200", "f/2.8 → f/2"]
    assert [c.index for c in changes] == [30, 60, 90]


def test_setting_change_across_an_unreadable_frame() -> None:
    frames = [Frame(Path("a"), None, 10.0, None, 800.0), Frame(Path("b")), Frame(Path("c"), None, 1 / 60, None, 1600.0)]
    assert [(c.index, c.text) for c in setting_changes(frames)] == [(2, "10 s → 1/60 s, ISO 800 → 1600")]


def test_labels_thin_out_and_come_back_when_zoomed_in(strip: NightStrip) -> None:
    frames = [Frame(Path(f"{i}"), None, 2.0 + i % 2, 2.8, 800.0) for i in range(COUNT)]
    shot = Shot(0, COUNT - 1)
    strip.show_shot(Project(frames=tuple(frames), shots=(shot,)), shot)
    view, metrics = strip.canvas.view, QFontMetricsF(strip.font())
    few = change_labels(view, model_of(strip), metrics)
    assert 2 < len(few) < 30
    assert all(a.right() < b.left() for (a, _), (b, _) in pairwise(few))
    strip.canvas.zoom(15, 60)
    assert len(change_labels(view, model_of(strip), metrics)) >= 6


def test_frame_ticks_are_round_and_count_from_one(strip: NightStrip) -> None:
    places = frame_ticks(strip.canvas.view, 60)
    assert places[0] == 0
    assert all((p + 1) % 10 == 0 for p in places[1:])


def test_hover_reads_out_the_frame(qtbot: QtBot, strip: NightStrip) -> None:
    QTest.mouseMove(strip.canvas, spot(strip, 57))
    qtbot.waitUntil(lambda: "F4057.jpg" in strip.readout.text)
    text = strip.readout.text
    for part in ("48 of 120", "F4057.jpg", "21:17:28", "4 s", "f/2.8", "ISO 1600", "film light −", "gain +"):
        assert part in text
    QTest.keyClick(strip, Qt.Key.Key_End)
    assert "120 of 120" in strip.readout.text


@pytest.mark.parametrize("name", ["F4056.jpg", "northern lights over the old harbour at night, camera two, 0057.jpg"])
def test_a_long_file_name_is_shortened_before_the_light_is(strip: NightStrip, name: str) -> None:
    """The light of a frame is what is looked for; the whole line is in the tooltip."""
    readout, model = strip.readout, model_of(strip)
    frames = list(model.frames)
    frames[57] = replace(frames[57], path=frames[57].path.with_name(name))
    model.frames = tuple(frames)
    readout.show_frame(model, 57)
    whole, metrics = readout.text, readout.fontMetrics()
    assert name in whole and readout.toolTip() == whole
    full = metrics.horizontalAdvance(whole)
    assert readout.fitting(full) == whole
    narrow = full - metrics.horizontalAdvance(name) // 3
    shown = readout.fitting(narrow)
    assert metrics.horizontalAdvance(shown) <= narrow
    if len(name) < 20:
        assert name in shown, "a short name stays whole"
    else:
        assert name not in shown and name[:5] in shown and name[-8:] in shown
        assert shown.endswith(whole[-30:].replace("  ", " ").strip())
    assert metrics.horizontalAdvance(readout.fitting(full // 3)) <= full // 3


def test_fault_mark_names_fault_and_file(qtbot: QtBot, strip: NightStrip) -> None:
    view = strip.canvas.view
    assert strip.hint_at(QPointF(view.x(20), view.marks.center().y())) == "F4030.jpg: stray light"
    assert strip.hint_at(QPointF(view.x(29.5), view.lane.center().y())) == "10 s → 4 s"
    assert not strip.hint_at(view.plot.center())
    QTest.mouseMove(strip.canvas, spot(strip, FIRST + 20))
    qtbot.waitUntil(lambda: "F4030.jpg" in strip.readout.text)
    assert "left out" in strip.readout.text
    assert "stray light" in strip.readout.text


def test_every_fault_has_a_mark_of_its_own() -> None:
    assert set(FAULT_MARKS) == set(Fault)
    shapes = {str(path.toFillPolygon().toList()) for _, path in FAULT_MARKS.values()}
    colours = {colour.name() for colour, _ in FAULT_MARKS.values()}
    assert len(shapes) == len(colours) == len(Fault)


def test_menu_of_a_frame(strip: NightStrip) -> None:
    toggled, trims, placed = record(strip.frame_toggled), record(strip.trim_changed), record(strip.peg_placed)
    menu = FrameMenu(strip.canvas, 40)
    actions = {a.text(): a for a in menu.actions() if a.text()}
    assert list(actions) == ["Leave this frame out", "Start the film here", "End the film here", "Set a peg here"]
    for action in actions.values():
        action.trigger()
    assert toggled == [(40,)]
    assert trims == [(40, 129, True), (40, 40, True)]
    assert [p[0] for p in placed] == [40]


def test_menu_of_a_left_out_frame_and_of_a_peg(strip: NightStrip) -> None:
    removed = record(strip.peg_removed)
    strip.set_pegs([Peg(30, -7.0)])
    texts = {a.text(): a for a in FrameMenu(strip.canvas, 30).actions()}
    assert "Take this frame in" in texts
    texts["Remove this peg"].trigger()
    assert removed == [(30,)]


def test_curves_can_be_hidden(strip: NightStrip) -> None:
    shown = strip.canvas.grab().toImage()
    for curve, button in strip.legend.buttons.items():
        assert button.accessibleName()
        QTest.mouseClick(button, LEFT)
        assert curve in strip.canvas.layers.hidden
    assert strip.canvas.grab().toImage() != shown
    strip.legend.buttons[Curve.FILM].setChecked(True)
    assert Curve.FILM not in strip.canvas.layers.hidden


def test_pegs_and_trim_come_with_the_shot(strip: NightStrip, project: Project) -> None:
    pegged = replace(project, light=LightSettings(pegs=(Peg(5, -7.0), Peg(60, -6.0))))
    strip.show_shot(pegged, replace(project.shots[1], trim_in=20, trim_out=99))
    assert model_of(strip).trim == (20, 99)
    assert model_of(strip).pegs == (Peg(60, -6.0),)


def test_without_a_shot_there_is_one_calm_line(qtbot: QtBot, strip: NightStrip) -> None:
    empty = NightStrip()
    qtbot.addWidget(empty)
    empty.resize(860, 320)
    empty.show()
    assert not empty.legend.isVisible()
    QTest.mouseClick(empty.canvas, LEFT)
    QTest.keyClick(empty, Qt.Key.Key_Right)
    empty.set_playhead(3)
    empty.set_pegs([Peg(1, 0.0)])
    strip.clear()
    QApplication.processEvents()
    assert not strip.legend.isVisible()


@pytest.mark.parametrize("dark", [True, False])
@pytest.mark.parametrize("width", [400, 860, 1500])
def test_themes_and_widths_paint(strip: NightStrip, dark: bool, width: int) -> None:
    strip.set_theme(dark)
    strip.resize(width, 320)
    QApplication.processEvents()
    style = strip.canvas.layers.style
    assert strip.canvas.grab().toImage().pixelColor(3, strip.canvas.height() - 3) == style.ground
    assert sum(b.width() for b in strip.legend.buttons.values()) < width


def test_names_for_those_who_listen(strip: NightStrip) -> None:
    assert strip.accessibleName()
    assert strip.focusPolicy() == Qt.FocusPolicy.StrongFocus
    legend = strip.legend
    assert all(b.accessibleName() or len(b.text()) > 1 for b in (legend.zoom_in, legend.zoom_out, legend.whole))
