"""How fast a film is made: frames a second beside bare decoding, resizing and encoding."""

from __future__ import annotations

import os
import subprocess
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
from numpy.typing import NDArray
from stills import LARGE, write_stills

from lapsebench.core.filmsettings import Crop, FilmSettings
from lapsebench.io.encoders import crf_of
from lapsebench.io.program import encoder_program
from lapsebench.services.film import make_film
from lapsebench.services.survey import gather, level, survey

ROUNDS, AT_ONCE = 3, 3  # as many stills at once as the film has in work


@dataclass(frozen=True)
class Case:
    """A film of `count` stills of `source` pixels with `settings`; `size` is what they come to."""

    name: str
    count: int
    source: tuple[int, int]
    settings: FilmSettings
    size: tuple[int, int]


CASES = (
    Case("1080p of 24-megapixel stills", 20, LARGE, FilmSettings(crop=Crop.WIDE, size=(1920, 1080)), (1920, 1080)),
    Case("960 x 640 of 24-megapixel stills", 20, LARGE, FilmSettings(size=(960, 640)), (960, 640)),
    Case("960 x 640 of stills of that size", 200, (960, 640), FilmSettings(), (960, 640)),
)


def decoded(path: Path, size: tuple[int, int]) -> NDArray[Any]:
    """Return a still, cut to the film's shape and resized, as plain OpenCV does it: BGR codes."""
    codes = cv2.imread(str(path), cv2.IMREAD_COLOR)
    if codes is None:
        raise ValueError(path)
    rows = round(codes.shape[1] * size[1] / size[0])
    top = (codes.shape[0] - rows) // 2
    return cv2.resize(codes[top : top + rows], size, interpolation=cv2.INTER_AREA)


def pictures(paths: list[Path], size: tuple[int, int], *, threads: int) -> Iterator[NDArray[Any]]:
    """Yield the decoded stills in order, on one thread or several."""
    if threads == 1:
        yield from (decoded(path, size) for path in paths)
        return
    with ThreadPoolExecutor(threads) as pool:
        yield from pool.map(lambda path: decoded(path, size), paths)


def bare_film_s(paths: list[Path], case: Case, output: Path, *, threads: int) -> float:
    """Return the time of decoding, resizing and piping to the encoder at the same quality, with nothing else."""
    start = time.perf_counter()
    source = ["-f", "rawvideo", "-pix_fmt", "bgr24", "-video_size", "{}x{}".format(*case.size), "-framerate", "25"]
    codec = ["-c:v", "libx264", "-preset", "medium", "-pix_fmt", "yuv420p", "-crf", f"{crf_of(case.settings.quality):g}"]
    command = [encoder_program(), "-loglevel", "error", "-y", *source, "-i", "pipe:0", *codec, str(output)]
    with subprocess.Popen(command, stdin=subprocess.PIPE) as encoder:
        if encoder.stdin is None:
            raise RuntimeError("the encoder was started without a pipe")
        for codes in pictures(paths, case.size, threads=threads):
            encoder.stdin.write(codes.data)
        encoder.stdin.close()
    return time.perf_counter() - start


def bench(case: Case, root: Path) -> None:
    """Print frames a second of the film and of the bare ways, the best of some rounds taken in turn."""
    paths = write_stills(root / "night", case.count, case.source)
    project, _ = gather([root / "night"])
    surveyed = survey(project)
    project = replace(surveyed.project, film=case.settings)
    light = level(surveyed, project)
    film, one, several = [], [], []
    for _ in range(ROUNDS):
        one.append(bare_film_s(paths, case, root / "bare.mp4", threads=1))
        several.append(bare_film_s(paths, case, root / "bare.mp4", threads=AT_ONCE))
        start = time.perf_counter()
        make_film(project, light, root / "film.mp4", overwrite=True, frames=range(case.count))
        film.append(time.perf_counter() - start)
    print(f"{case.name}, {case.count} frames, best of {ROUNDS}:")
    for name, times in (("the film", film), ("bare, one at a time", one), (f"bare, {AT_ONCE} at a time", several)):
        ratio = min(film) / min(times)
        print(f"  {name:22} {case.count / min(times):7.2f} frames a second   the film takes {ratio:5.2f} x its time")


def main() -> None:
    """Run every case in a folder of its own."""
    for case in CASES:
        with tempfile.TemporaryDirectory() as folder:
            os.environ["LAPSEBENCH_CACHE"] = str(Path(folder) / "cache")
            bench(case, Path(folder))


if __name__ == "__main__":
    main()
