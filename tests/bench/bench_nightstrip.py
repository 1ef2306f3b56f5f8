"""Prints how long the night strip takes for what happens most, over a night of 5000 frames at 860 x 320.

Run with `python tests/bench/bench_nightstrip.py`; set QT_SCALE_FACTOR=2 for a fine screen.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median
from time import perf_counter

import numpy as np
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QWheelEvent
from PySide6.QtWidgets import QApplication

from lapsebench.core.filmlight import FilmLight
from lapsebench.core.metering import COLS, ROWS, FrameMeasure
from lapsebench.core.project import Project
from lapsebench.core.separation import Light
from lapsebench.core.sequence import Frame, Shot
from lapsebench.gui.nightstrip import NightStrip

COUNT, TURNS = 5000, 21


def long_night() -> tuple[Project, Light, FilmLight]:
    """Return a shot of 5000 frames with four settings and a restless sky, its light and a film light."""
    start, rng = datetime(2026, 2, 11, 21, 4, 10, tzinfo=UTC), np.random.default_rng(1)
    shutters = [10.0, 4.0, 2.0, 4.0]
    frames = tuple(
        Frame(Path(f"F{i:04d}.jpg"), start + timedelta(seconds=6 * i), shutters[i * 4 // COUNT], 2.8, 1600.0)
        for i in range(COUNT)
    )
    exposure = np.array([f.exposure_ev for f in frames], float)
    scene = -12 + np.sin(np.arange(COUNT) / 300) + rng.normal(0, 0.1, COUNT)
    luminance = scene + exposure
    zero = np.zeros(COUNT)
    light = Light(exposure, luminance, exposure, scene, zero, zero.astype(bool), zero, luminance + 2, zero)
    film = scene + 5.5
    project = Project(frames=frames, shots=(Shot(0, COUNT - 1),))
    return project, light, FilmLight(film, film - luminance, film - luminance + exposure)


def milliseconds(act: Callable[[int], object], finish: Callable[[], object]) -> list[float]:
    """Return how long each of some calls takes together with its repaint."""
    times = []
    for turn in range(TURNS):
        start = perf_counter()
        act(turn)
        finish()
        times.append(1000 * (perf_counter() - start))
    return times


def tell(what: str, times: list[float]) -> None:
    """Print a median and the longest."""
    print(f"{what:<32} median {median(times):7.2f} ms   longest {max(times):7.2f} ms")


def turn_wheel(strip: NightStrip, turn: int) -> None:
    """Zoom in a few notches, and then out again."""
    at = QPointF(430, 150)
    there, none = QPoint(0, 120 if turn % 14 < 7 else -120), Qt.MouseButton.NoButton
    keys, phase = Qt.KeyboardModifier.NoModifier, Qt.ScrollPhase.NoScrollPhase
    event = QWheelEvent(at, strip.canvas.mapToGlobal(at), QPoint(), there, none, keys, phase, False)
    QApplication.sendEvent(strip.canvas, event)


def main() -> None:
    """Measure and print."""
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    app = QApplication([])
    project, light, film = long_night()
    strip = NightStrip()
    strip.resize(860, 320)
    strip.show()
    strip.show_shot(project, project.shots[0])
    app.processEvents()
    measure = FrameMeasure(
        np.full((ROWS, COLS, 3), 0.1, np.float32),
        np.zeros((ROWS, COLS, 3), np.float32),
        np.random.default_rng(2).integers(0, 200, (96, 3), np.uint8),
        b"",
    )
    start = perf_counter()
    for frame in range(COUNT):
        strip.add_measure(frame, measure)
    print(f"{'5000 measures':<32}        {1000 * (perf_counter() - start):7.2f} ms")
    films = [replace(film, film_ev=film.film_ev + turn / 100) for turn in range(TURNS)]
    settle = app.processEvents
    tell("measures drawn", milliseconds(lambda _: strip.canvas.refresh(), settle))
    tell("light shown", milliseconds(lambda _: strip.show_light(light, film, range(COUNT)), settle))
    tell("film light shown", milliseconds(lambda turn: strip.show_film(films[turn]), settle))
    tell("playhead moved", milliseconds(lambda turn: strip.set_playhead(100 + 7 * turn), settle))
    tell("wheel", milliseconds(lambda turn: turn_wheel(strip, turn), settle))


if __name__ == "__main__":
    main()
