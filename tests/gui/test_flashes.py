"""A film that flashes: said at once, with a list that leads to the frames and areas."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from PySide6.QtWidgets import QPushButton

from lapsebench.core.flash import CAUTION
from lapsebench.gui.commands import change_light, toggle_frame
from lapsebench.gui.problems import MessageRow
from lapsebench.gui.window import MainWindow

Until = Callable[[Callable[[], bool]], None]
COUNT = 30


@pytest.fixture
def flashing(window: MainWindow, tmp_path: Path, until: Until) -> MainWindow:
    """Return the window with a night open that goes bright and dark six times a second, as shot."""
    folder = tmp_path / "flashing"
    folder.mkdir()
    for i in range(COUNT):
        picture = np.full((96, 144, 3), 180 if i % 4 < 2 else 90, np.uint8)
        picture[0, i] = 5
        Image.fromarray(picture).save(folder / f"N{i:03}.png")
    window.open_paths([folder])
    until(lambda: window.session.film_light is not None and not window.opener.busy)
    window.session.edit("", change_light(even=False))
    for i in range(COUNT):
        if not window.session.project.keeps(i):
            window.session.edit("", toggle_frame(i))
    return window


def test_it_is_told_and_leads_to_the_frames(flashing: MainWindow, tmp_path: Path, until: Until) -> None:
    window = flashing
    window.filming.make(tmp_path / "film.mp4")
    until(lambda: not window.filming.busy)
    rows = [row for row in window.messages.findChildren(MessageRow) if "flashes too much" in row.message.what]
    assert len(rows) == 1
    assert "longer ramp" in rows[0].message.remedy
    (show,) = [button for button in rows[0].findChildren(QPushButton) if button.text() == "Show them"]
    show.click()
    listed = window.flashes.window
    assert listed is not None
    assert listed.list.count() >= 1
    assert "flashes a second" in listed.list.item(0).text()
    assert any(CAUTION in label.text() for label in listed.findChildren(type(listed.verdict)))
    mark = window.bench.picture.mark
    assert mark is not None
    assert 0 < mark.width() <= 1
    window.session.move_to(0)
    listed.list.setCurrentRow(listed.list.count() - 1)
    assert window.session.playhead > 0
    listed.close()
    assert window.bench.picture.mark is None


def test_a_safe_film_says_so_in_the_message(surveyed: MainWindow, tmp_path: Path, until: Until) -> None:
    surveyed.filming.make(tmp_path / "film.mp4")
    until(lambda: not surveyed.filming.busy)
    (row,) = surveyed.messages.findChildren(MessageRow)
    assert "Flashes: safe" in row.message.remedy
