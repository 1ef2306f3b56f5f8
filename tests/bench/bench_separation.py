"""How long the first light of a long night takes once its frames are measured, part by part, and how much memory.

Run with `python tests/bench/bench_separation.py [--frames N] [--rounds N]`. The night, made in memory, goes from
dusk into an arc over a ground that is partly black, with flicker, setting changes, clipped lamps and 8-bit codes.
"""

from __future__ import annotations

import argparse
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lapsebench.core import separation
from lapsebench.core.metering import COLS, ROWS, FrameMeasure
from lapsebench.core.project import Project
from lapsebench.core.sequence import Frame, Shot
from lapsebench.core.transfer import linear_to_srgb, srgb_table
from lapsebench.services import shotlight
from lapsebench.services.survey import Survey, level
from lapsebench.services.tilelight import tiles_of

Floats = NDArray[np.float64]
PARTS: tuple[tuple[ModuleType, str], ...] = (
    (shotlight, "tiles_of"),
    (shotlight, "moved_frames"),
    (shotlight, "responses_of"),
    (shotlight, "seen_tiles"),
    (shotlight, "colour_drift"),
    (shotlight, "luminance_ev"),
    (shotlight, "highlight_ev"),
    (shotlight, "exposures"),
    (shotlight, "metered"),
    (shotlight, "stray_light_frames"),
    (shotlight, "suspects"),
    (shotlight, "bumped_frames"),
    (separation, "pair_gains"),
    (separation, "solve_path"),
    (separation, "path_errors"),
    (separation, "find_steps"),
    (separation, "split_path"),
)
_CODES = 4080  # tile means of 8-bit codes fall between the codes
_SHORTEST_EV, _LONGEST_EV = -7.0, 3.0


def made_night(n: int) -> tuple[list[Frame], list[FrameMeasure], Floats]:
    """Return frames, measures and the true received exposure (n,) of a night of `n` frames."""
    random = np.random.default_rng(2)
    y, x = np.mgrid[0:ROWS, 0:COLS]
    sky = y < 0.7 * ROWS
    ground = 0.004 * 2 ** random.normal(0, 1.2, (ROWS, COLS))
    ground[random.random((ROWS, COLS)) < 0.1] = 1e-5
    lamps = 40.0 * (~sky & (random.random((ROWS, COLS)) < 0.01))
    dusk = 2 ** (9 * np.clip(1 - np.arange(n) / (0.2 * n), 0, 1) ** 1.4)
    stairs = np.clip(np.round(-3 * np.log2(dusk)) / 3, _SHORTEST_EV, _LONGEST_EV)
    received = stairs + random.normal(0, 0.03, n)
    column, table = np.zeros((4, 3), np.uint8), srgb_table(_CODES + 1)
    frames, measures = [], []
    for i in range(n):
        ridge = 0.35 * ROWS + 4 * np.sin(x / 9 + i / 40)
        arc = 0.05 * np.exp(-(((y - ridge) / 3) ** 2)) * (1.3 + 0.3 * np.sin(i / 70))
        light = (ground + 0.01 * sky * (1 - 0.5 * y / ROWS)) * dusk[i] + sky * arc + lamps
        exposed = light[..., None] * (0.7, 1.0, 0.5) * 2.0 ** received[i]
        codes = np.rint(_CODES * linear_to_srgb(np.clip(exposed * random.normal(1, 0.004, exposed.shape), 0, 1)))
        clipped = (exposed >= 1).astype(np.float32)
        measures.append(FrameMeasure(table[codes.astype(np.int32)], clipped, column, b""))
        frames.append(Frame(Path(f"{i}.jpg"), exposure_s=float(8 * 2 ** stairs[i]), f_number=2.8, iso=1600))
    return frames, measures, received


class Clock:
    """Adds up the seconds that the parts of the work take, by the clock and of processor time."""

    def __init__(self) -> None:
        self.seconds: dict[str, tuple[float, float]] = {}
        for module, name in PARTS:
            setattr(module, name, self._timed(name, getattr(module, name)))

    def _timed(self, name: str, work: Callable[..., Any]) -> Callable[..., Any]:
        def timed(*given: Any, **named: Any) -> Any:
            start, processor = time.perf_counter(), time.process_time()
            try:
                return work(*given, **named)
            finally:
                took, busy = self.seconds.get(name, (0.0, 0.0))
                took, busy = took + time.perf_counter() - start, busy + time.process_time() - processor
                self.seconds[name] = took, busy

        return timed


def main() -> None:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=5000)
    parser.add_argument("--rounds", type=int, default=3, help="the best of so many")
    arguments = parser.parse_args()
    frames, measures, received = made_night(arguments.frames)
    shot = Shot(0, arguments.frames - 1)
    clock, best, parts = Clock(), np.inf, {}
    for _ in range(arguments.rounds):
        clock.seconds.clear()
        start, processor = time.perf_counter(), time.process_time()
        light = first_light(shot, frames, measures)
        took, processor = time.perf_counter() - start, time.process_time() - processor
        if took < best:
            best, busy, parts = took, processor, dict(clock.seconds)
    print(
        f"{arguments.frames} frames of {COLS} x {ROWS} tiles, from measures in memory to light, best of {arguments.rounds}:"
    )
    print(f"  {'':20} {'clock':>9} {'processors':>11}")
    for name, (took, of_it) in sorted(parts.items(), key=lambda part: -part[1][0]):
        print(f"  {name:20} {took:7.3f} s {of_it:9.3f} s")
    print(f"  {'the whole':20} {best:7.3f} s {busy:9.3f} s")
    tracemalloc.start()
    first_light(shot, frames, measures)
    print(f"  most memory on top of the measures: {tracemalloc.get_traced_memory()[1] / 1e9:.2f} GB")
    tracemalloc.stop()
    project = Project(sources=(), frames=tuple(frames), shots=(shot,))
    surveyed = Survey(project, tuple(measures), light.light, (light.responses,), light.notes)
    rounds = [_seconds(lambda: level(surveyed, project)) for _ in range(5)]
    off = np.diff(light.light.received_ev - received)
    print(f"  levelling anew: {1000 * min(rounds):.1f} ms; error from frame to frame: {off.std():.4f} stop")


def first_light(shot: Shot, frames: list[Frame], measures: list[FrameMeasure]) -> shotlight.ShotLight:
    """Return the light just as a survey finds it."""
    tiles = tiles_of(shot, measures)
    (only,) = shotlight.at_moves(shot, frames, measures, tiles=tiles)
    return shotlight.light_of_shot(only, frames, measures, tiles=tiles)


def _seconds(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


if __name__ == "__main__":
    main()
