"""What feeds the picture view: no file is decoded more often than its sides need, and no large picture stops the window."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from lapsebench.core.sequence import Frame
from lapsebench.gui import sharp as sharp_module
from lapsebench.gui.commands import change_light
from lapsebench.gui.picture import Side, to_image
from lapsebench.gui.window import MainWindow
from lapsebench.services import preview

Until = Callable[[Callable[[], bool]], None]
Decoded = list[tuple[str, bool]]


@pytest.fixture
def decoded(surveyed: MainWindow, until: Until, monkeypatch: pytest.MonkeyPatch) -> Decoded:
    """Return a list that gets the file of every decoding from now on, and whether it was with a gain."""
    until(lambda: _at_rest(surveyed))
    real, calls = preview.picture, list[tuple[str, bool]]()

    def picture(frame: Frame, gain_ev: float, **options: Any) -> NDArray[np.uint8]:
        calls.append((frame.path.name, gain_ev != 0.0))
        return real(frame, gain_ev, **options)

    monkeypatch.setattr(preview, "picture", picture)
    return calls


def _at_rest(window: MainWindow) -> bool:
    sharp = window.feed._sharp
    here = sharp is not None and sharp.frame == window.session.playhead
    return here and not window.feed._settle.isActive() and window.feed._latest._running is None


@pytest.mark.parametrize(("side", "gains"), [(Side.BEFORE, [False]), (Side.FILM, [True]), (Side.DIVIDED, [False, True])])
def test_only_the_sides_shown_are_decoded(
    surveyed: MainWindow, decoded: Decoded, until: Until, side: Side, gains: list[bool]
) -> None:
    surveyed.session.edit("", change_light(brightness_ev=0.7))
    surveyed.bench.picture.set_side(side)
    until(lambda: _at_rest(surveyed))
    decoded.clear()
    surveyed.session.move_to(9)
    until(lambda: bool(decoded) and _at_rest(surveyed))
    assert decoded == [("F0009.jpg", gain) for gain in gains]


def test_another_side_or_gain_decodes_what_is_missing(surveyed: MainWindow, decoded: Decoded, until: Until) -> None:
    view = surveyed.bench.picture
    view.set_side(Side.BEFORE)
    surveyed.session.move_to(9)
    until(lambda: bool(decoded) and _at_rest(surveyed))
    view.set_side(Side.DIVIDED)
    until(lambda: len(decoded) == 2 and _at_rest(surveyed))
    surveyed.session.edit("", change_light(brightness_ev=0.7))
    until(lambda: len(decoded) == 3 and _at_rest(surveyed))
    assert [gain for _, gain in decoded] == [False, True, True]


def test_without_gain_both_sides_are_one_picture(surveyed: MainWindow, decoded: Decoded, until: Until) -> None:
    surveyed.session.edit("", change_light(even=False))
    assert surveyed.session.gain(9) == 0.0
    surveyed.session.move_to(9)
    until(lambda: bool(decoded) and _at_rest(surveyed))
    assert decoded == [("F0009.jpg", False)]


def test_a_slider_on_a_large_picture_shows_the_small_one_until_it_rests(
    surveyed: MainWindow, decoded: Decoded, until: Until, monkeypatch: pytest.MonkeyPatch
) -> None:
    def slow(*_: object) -> NDArray[np.uint8]:
        raise AssertionError("the full size is not for the UI thread")

    monkeypatch.setattr(sharp_module, "_MOST_AT_ONCE", 100)
    monkeypatch.setattr(preview, "with_gain", slow)
    session, view = surveyed.session, surveyed.bench.picture
    before = view.before
    session.edit("", change_light(brightness_ev=0.7))
    assert view.before == before
    measure = session.measures[0]
    assert view.film == to_image(preview.small_picture(measure, session.project.frames[0], session.gain(0)))
    until(lambda: bool(decoded) and _at_rest(surveyed))
    sharp = preview.picture(session.project.frames[0], session.gain(0), long_side=view.wanted_long_side())
    assert view.film == to_image(sharp)
