"""How long a survey takes: measuring beside bare decoding, and the light of a night of 5,000 frames."""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import cv2
import numpy as np
from stills import LARGE, write_stills

from lapsebench.core.metering import COLS, ROWS, FrameMeasure
from lapsebench.core.project import Project
from lapsebench.core.sequence import Frame, Shot
from lapsebench.services.shotlight import at_moves, light_of_shot
from lapsebench.services.survey import Survey, gather, level, survey

STILLS, ROUNDS, NIGHT = 20, 3, 5000
THREADS = min(4, os.cpu_count() or 1)  # as many as the survey reads with


def seconds(work: Callable[[], object]) -> float:
    """Return how long `work` takes."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def peak_memory() -> str:
    """Return the most memory this process had so far, in words."""
    if sys.platform == "win32":
        return "peak memory not known here"
    from resource import RUSAGE_SELF, getrusage  # noqa: PLC0415 - there is none on Windows

    unit = 1 if sys.platform == "darwin" else 1024
    return f"peak memory of the process {getrusage(RUSAGE_SELF).ru_maxrss * unit / 1e9:.2f} GB"


def decode_all(paths: list[Path], flags: int) -> None:
    """Decode all files on as many threads as the survey uses."""
    with ThreadPoolExecutor(THREADS) as pool:
        list(pool.map(lambda path: cv2.imread(str(path), flags) is not None, paths))


def measuring_s(project: Project) -> float:
    """Return the time a survey spends on measuring: from its first tick to its last."""
    ticks: list[float] = []
    survey(project, tick=lambda _done, _total: ticks.append(time.perf_counter()))
    return ticks[-1] - ticks[0]


def bench_measuring(root: Path) -> None:
    """Print measuring beside bare decoding, the best of some rounds taken in turn."""
    paths = write_stills(root / "night", STILLS, LARGE)
    project, _ = gather([root / "night"])
    fresh, kept, full, reduced = [], [], [], []
    for number in range(ROUNDS):
        os.environ["LAPSEBENCH_CACHE"] = str(root / f"cache{number}")
        full.append(seconds(lambda: decode_all(paths, cv2.IMREAD_COLOR)))
        reduced.append(seconds(lambda: decode_all(paths, cv2.IMREAD_REDUCED_COLOR_4)))
        fresh.append(measuring_s(project))
        kept.append(measuring_s(project))
    size = sum(path.stat().st_size for path in paths) / len(paths) / 1e6
    print(f"\n{STILLS} JPEGs of {LARGE[0]} x {LARGE[1]} pixels, {size:.1f} MB each, {THREADS} threads, best of {ROUNDS}:")
    measured = min(fresh)
    for name, times in (
        ("measuring", fresh),
        ("bare cv2.imread, full size", full),
        ("bare cv2.imread, reduced /4", reduced),
        ("measured before, from the cache", kept),
    ):
        print(
            f"  {name:32} {1000 * min(times) / STILLS:7.1f} ms a frame   measuring takes {measured / min(times):6.2f} x that"
        )


def made_night() -> tuple[list[Frame], list[FrameMeasure]]:
    """Return frames and random tiles under one staircase of five shutter speeds, with flicker."""
    random = np.random.default_rng(2)
    stairs = np.repeat([0.0, -1.0, -2.0, -1.0, 0.0], NIGHT // 5)
    ground = (0.02 * 2 ** random.normal(0, 1, (ROWS, COLS, 3))).astype(np.float32)
    received = stairs + random.normal(0, 0.03, NIGHT)
    clipped, column = np.zeros((ROWS, COLS, 3), np.float32), np.zeros((640, 3), np.uint8)
    frames, measures = [], []
    for i in range(NIGHT):
        sky = np.float32(2 ** received[i]) * random.uniform(0.97, 1.03, ground.shape).astype(np.float32)
        frames.append(Frame(Path(f"{i}.jpg"), exposure_s=8 * 2 ** stairs[i], f_number=2.8, iso=1600))
        measures.append(FrameMeasure(ground * sky, clipped, column, b""))
    return frames, measures


def bench_light() -> None:
    """Print how long the light of a long night takes."""
    frames, measures = made_night()
    shot = Shot(0, NIGHT - 1)
    print(f"A shot of {NIGHT} frames of {COLS} x {ROWS} tiles; {peak_memory()} before:")
    print(f"  looking for moves of the camera  {seconds(lambda: at_moves(shot, frames, measures)):7.2f} s; {peak_memory()}")
    start = time.perf_counter()
    light = light_of_shot(shot, frames, measures)
    print(f"  light of the shot                {time.perf_counter() - start:7.2f} s; {peak_memory()}")
    project = Project(sources=(), frames=tuple(frames), shots=(shot,))
    surveyed = Survey(project, tuple(measures), light.light, (light.responses,), light.notes)
    levelled = min(seconds(lambda: level(surveyed, project)) for _ in range(5))
    print(f"  levelling                        {1000 * levelled:7.1f} ms")


def main() -> None:
    """Run the benches; the light first, so that its peak of memory is its own."""
    bench_light()
    with tempfile.TemporaryDirectory() as folder:
        bench_measuring(Path(folder))


if __name__ == "__main__":
    main()
