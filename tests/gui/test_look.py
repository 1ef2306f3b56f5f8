"""The look in the window: moved, named, copied, put back, and the look-up table it goes through."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QImage
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QFileDialog

from lapsebench.core.look import SLIDERS, Look, LookPreset, with_look_preset
from lapsebench.gui import sharp as sharp_module
from lapsebench.gui.picture import Side
from lapsebench.gui.sections.look import LookBox
from lapsebench.gui.sections.lookgroups import LookSlider
from lapsebench.gui.window import MainWindow

Until = Callable[[Callable[[], bool]], None]
Chosen = Callable[[str | None], Path]
ONLY_RED = "LUT_3D_SIZE 2\n" + "\n".join(f"{i % 2} 0 0" for i in range(8)) + "\n"
"""Leaves red as it is and takes green and blue away: red is the fastest of the three in a .cube file."""


@pytest.fixture
def box(surveyed: MainWindow, until: Until) -> LookBox:
    """Return the look's controls, all in sight, of a window that shows the film side at rest."""
    surveyed.bench.picture_section.set_open(True)
    box = surveyed.bench.picture_section.look
    for section in (box, *box.groups):
        section.set_open(True)
    surveyed.bench.picture.set_side(Side.DIVIDED)
    until(lambda: _at_rest(surveyed))
    return box


@pytest.fixture
def two_shots(window: MainWindow, night: Path, until: Until) -> MainWindow:
    """Return the window with a night of two shots open: the second comes an hour after the first."""
    again = night.parent / "night" / "G"
    again.mkdir()
    for i, path in enumerate(sorted(night.glob("F*.jpg"))):
        data = path.read_bytes().replace(b"2026:02:11 21:", b"2026:02:11 23:")
        (again / f"G{i:04d}.jpg").write_bytes(data)
    window.open_paths([night, again])
    until(lambda: window.session.film_light is not None and not window.opener.busy)
    assert len(window.session.project.shots) == 2
    return window


@pytest.fixture
def chosen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Chosen:
    """Return a function that writes a .cube file, none for None, and lets the file dialog choose it."""

    def choose_file(text: str | None) -> Path:
        path = tmp_path / "night.cube"
        if text is not None:
            path.write_text(text)
        monkeypatch.setattr(QFileDialog, "getOpenFileName", lambda *_: (str(path), ""))
        return path

    return choose_file


def _at_rest(window: MainWindow) -> bool:
    sharp, feed, session = window.feed._sharp, window.feed, window.session
    here = sharp is not None and sharp.frame == session.playhead and sharp.look == session.finish_of(sharp.frame).look
    return here and not feed._settle.isActive() and feed._latest._running is None


def look(window: MainWindow, shot: int = 0) -> Look:
    return window.session.project.shots[shot].look


def pixels(image: QImage | None) -> NDArray[np.float64]:
    """Return the codes of an image, (h, w, 3)."""
    assert image is not None
    image = image.convertToFormat(QImage.Format.Format_RGB888)
    rows = np.frombuffer(image.constBits(), np.uint8).reshape(image.height(), image.bytesPerLine())
    return rows[:, : 3 * image.width()].reshape(image.height(), image.width(), 3).astype(float)


def drag(slider: LookSlider, *values: int) -> None:
    slider.slider.sliderPressed.emit()
    for value in values:
        slider.slider.setValue(value)
    slider.slider.sliderReleased.emit()


def slider_of(box: LookBox, field: str) -> LookSlider:
    return next(slider for group in box.groups for slider in group.sliders if slider.field == field)


def choose(box: LookBox, name: str) -> None:
    index = box.kind.findText(name)
    box.kind.setCurrentIndex(index)
    box.kind.activated.emit(index)


def test_every_slider_of_the_look_has_its_place(box: LookBox) -> None:
    assert {slider.field for group in box.groups for slider in group.sliders} == set(SLIDERS)


def test_a_drag_is_seen_at_once_and_in_the_end_and_is_one_step(box: LookBox, surveyed: MainWindow, until: Until) -> None:
    view, steps = surveyed.bench.picture, surveyed.session.undo_stack
    before, film = pixels(view.before), pixels(view.film)
    warmth = slider_of(box, "warmth")
    drag(warmth, 20, 40, 60)
    assert look(surveyed).warmth == 60
    assert warmth.value_label.text() == "60 warmer"
    for settled in (False, True):
        if settled:
            until(lambda: _at_rest(surveyed))
        red, _, blue = (pixels(view.film) - film).mean(axis=(0, 1))
        assert red > 2
        assert blue < -2
        assert np.array_equal(pixels(view.before), before)
    assert steps.count() == 1
    assert steps.undoText() == "Warmth of the look"
    steps.undo()
    assert look(surveyed).is_plain
    assert (warmth.slider.value(), warmth.value_label.text()) == (0, "0")
    until(lambda: _at_rest(surveyed))
    assert np.array_equal(pixels(view.film), film)


def test_exposure_goes_in_tenths_of_a_stop(box: LookBox, surveyed: MainWindow) -> None:
    exposure = slider_of(box, "exposure")
    drag(exposure, 7)
    assert look(surveyed).exposure == 0.7
    assert exposure.value_label.text() == "+0.7 stop"
    drag(exposure, -30)
    assert look(surveyed).exposure == -3
    assert exposure.value_label.text() == "−3.0 stop"


@pytest.mark.parametrize(("field", "more"), [("noise", False), ("sharpen", True)])
def test_detail_is_seen_while_it_is_dragged(
    box: LookBox, surveyed: MainWindow, until: Until, field: str, more: bool
) -> None:
    view = surveyed.bench.picture
    whole = pixels(view.film)
    drag(slider_of(box, field), 100)
    draft = pixels(view.film)
    until(lambda: _at_rest(surveyed))
    sharp = pixels(view.film)
    for seen in (draft, sharp):
        assert seen.shape == whole.shape
        assert not np.array_equal(seen, whole)
    assert (_roughness(sharp) > _roughness(whole)) is more


def test_a_drag_waits_for_no_detail_that_stays_as_it_is(box: LookBox, surveyed: MainWindow, until: Until) -> None:
    view = surveyed.bench.picture
    drag(slider_of(box, "noise"), 100)
    until(lambda: _at_rest(surveyed))
    clean = _roughness(pixels(view.film))
    drag(slider_of(box, "tint"), 2)
    assert _roughness(pixels(view.film)) > 1.05 * clean
    until(lambda: _at_rest(surveyed))
    assert _roughness(pixels(view.film)) == pytest.approx(clean, rel=0.02)


def test_a_drag_that_would_take_long_is_shown_small_until_it_rests(
    box: LookBox, surveyed: MainWindow, until: Until, monkeypatch: pytest.MonkeyPatch
) -> None:
    view = surveyed.bench.picture
    whole = pixels(view.film)
    monkeypatch.setattr(sharp_module, "_MOST_NS", sharp_module._TONES_NS * whole.shape[0] * whole.shape[1] / 4)
    drag(slider_of(box, "saturation"), -100)
    draft = pixels(view.film)
    assert draft.shape == (whole.shape[0] // 2, whole.shape[1] // 2, 3)
    assert np.ptp(draft, axis=2).max() <= 1
    until(lambda: _at_rest(surveyed))
    assert pixels(view.film).shape == whole.shape


def _roughness(picture: NDArray[np.float64]) -> float:
    return float(np.abs(np.diff(picture, axis=1)).mean())


def test_a_look_by_name_sets_the_sliders_and_a_slider_makes_it_the_users_own(box: LookBox, surveyed: MainWindow) -> None:
    assert box.kind.currentText() == "Plain"
    drag(slider_of(box, "exposure"), 5)
    assert box.kind.currentText() == "Own"
    choose(box, "Clear stars")
    assert look(surveyed) == with_look_preset(Look(exposure=0.5), LookPreset.CLEAR_STARS)
    assert box.kind.currentText() == "Clear stars"
    assert slider_of(box, "star_care").slider.value() == look(surveyed).star_care
    assert box.summary.text() == "Clear stars"
    assert box.kind.findText("Own") == -1
    drag(slider_of(box, "contrast"), 12)
    assert box.kind.currentText() == "Own"
    choose(box, "Plain")
    assert look(surveyed) == Look()


def test_a_double_click_on_name_or_value_puts_a_slider_back(box: LookBox, surveyed: MainWindow) -> None:
    tint = slider_of(box, "tint")
    for at in (QPoint(5, 5), QPoint(tint.width() - 5, 5)):
        drag(tint, 30)
        assert look(surveyed).tint == 30
        spot = tint.childAt(at)
        assert spot is not None
        QTest.mouseDClick(spot, Qt.MouseButton.LeftButton, pos=spot.mapFrom(tint, at))
        assert look(surveyed).tint == 0
        surveyed.session.undo_stack.undo()
        assert look(surveyed).tint == 30


def test_a_closed_group_says_what_it_does(box: LookBox) -> None:
    assert box.detail.summary.text() == "nothing changed"
    drag(slider_of(box, "noise"), 40)
    drag(slider_of(box, "star_care"), -20)
    assert box.detail.summary.text() == "Noise\N{NO-BREAK SPACE}40 taken out, Stars\N{NO-BREAK SPACE}20 fainter"


def test_a_look_is_copied_to_another_shot(two_shots: MainWindow) -> None:
    window = two_shots
    box, session = window.bench.picture_section.look, window.session
    assert not box.paste.isEnabled()
    drag(slider_of(box, "saturation"), 25)
    box.copy.click()
    assert not box.paste.isEnabled()
    session.show_shot(1)
    assert slider_of(box, "saturation").slider.value() == 0
    box.paste.click()
    assert look(window, 1) == look(window, 0) == Look(saturation=25)
    session.undo_stack.undo()
    assert look(window, 1) == Look()
    assert look(window, 0) == Look(saturation=25)


def test_a_look_is_used_for_all_shots(two_shots: MainWindow) -> None:
    window = two_shots
    box = window.bench.picture_section.look
    assert not box.everywhere.isEnabled()
    window.session.show_shot(1)
    choose(box, "Soft glow")
    assert look(window, 0) == Look()
    box.everywhere.click()
    assert look(window, 0) == look(window, 1) == with_look_preset(Look(), LookPreset.SOFT_GLOW)
    assert not box.everywhere.isEnabled()
    window.session.undo_stack.undo()
    assert look(window, 0) == Look()


def test_a_table_is_chosen_mixed_and_removed(box: LookBox, surveyed: MainWindow, until: Until, chosen: Chosen) -> None:
    path, view = chosen(ONLY_RED), surveyed.bench.picture
    film = pixels(view.film)
    assert not box.table.share.isVisible()
    box.table.choose.click()
    until(lambda: look(surveyed).lut == str(path) and _at_rest(surveyed))
    assert box.table.name.toolTip() == str(path)
    assert np.allclose(pixels(view.film)[..., 0], film[..., 0], atol=1)
    assert pixels(view.film)[..., 1:].max() <= 1
    assert box.summary.text() == "Own, night.cube"
    drag(box.table.share, 50)
    until(lambda: _at_rest(surveyed))
    assert np.allclose(pixels(view.film)[..., 1], film[..., 1] / 2, atol=1)
    box.table.remove.click()
    assert look(surveyed) == Look()
    assert not box.table.share.isVisible()
    until(lambda: _at_rest(surveyed))
    assert np.array_equal(pixels(view.film), film)


@pytest.mark.parametrize("text", [None, "LUT_3D_SIZE 2\n0 0 x\n"])
def test_a_table_that_cant_be_used_is_told_and_not_taken(
    box: LookBox, surveyed: MainWindow, until: Until, chosen: Chosen, text: str | None
) -> None:
    chosen(text)
    box.table.choose.click()
    until(lambda: any("night.cube" in row.message.what for row in surveyed.messages.rows))
    assert look(surveyed) == Look()
    assert surveyed.session.undo_stack.count() == 0


def test_a_table_that_is_gone_later_is_told_beside_it(
    box: LookBox, surveyed: MainWindow, until: Until, chosen: Chosen
) -> None:
    path = chosen(ONLY_RED)
    box.table.choose.click()
    until(lambda: look(surveyed).lut == str(path))
    assert not box.table.told.isVisible()
    path.unlink()
    drag(slider_of(box, "warmth"), 10)
    assert box.table.told.isVisible()
    assert "night.cube" in box.table.told.text()


def test_what_is_open_of_the_look_is_remembered(
    surveyed: MainWindow, new_window: Callable[[], MainWindow], box: LookBox
) -> None:
    box.colour.set_open(False)
    surveyed.close_now()
    again = new_window().bench.picture_section.look
    assert again.is_open
    assert not again.colour.is_open
    assert again.detail.is_open
