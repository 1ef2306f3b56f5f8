"""A program killed while it films: never a film under its name that does not play whole, and nothing piles up."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import av
import numpy as np
import pytest
from PIL import Image

from lapsebench.__main__ import main
from lapsebench.io.projectfile import load_project, save_project
from lapsebench.io.unfinished import notes_folder
from lapsebench.services.survey import gather, survey

COUNT = 60
KILLS = int(os.environ.get("LAPSEBENCH_KILLS", "8"))
"""Moments of killing; more of them by the environment's LAPSEBENCH_KILLS."""
FILM = """
import sys
from pathlib import Path
from lapsebench.services.film import make_film
from lapsebench.services.survey import gather, level, survey
project, _ = gather([Path(sys.argv[1])])
surveyed = survey(project)
print("filming", flush=True)
make_film(project, level(surveyed, project), Path(sys.argv[2]), overwrite=True)
print("done", flush=True)
"""


@pytest.fixture
def saved(tmp_path: Path) -> Path:
    """Return the project file of a small night that was measured."""
    folder = tmp_path / "night"
    folder.mkdir()
    random_codes = np.random.default_rng(3)
    for i in range(COUNT):
        picture = random_codes.integers(20, 90, (240, 360, 3)).astype(np.uint8)
        Image.fromarray(picture).save(folder / f"N{i:03}.png")
    project, _ = gather([folder])
    survey(project)
    save_project(project, tmp_path / "night.lapsebench")
    return tmp_path / "night.lapsebench"


def frames_of(film: Path) -> int:
    with av.open(str(film)) as container:
        return sum(1 for _ in container.decode(video=0))


@contextmanager
def filming(saved: Path, film: Path) -> Iterator[subprocess.Popen[str]]:
    """Start a program that films, wait until it does, and wait for its end."""
    command = [sys.executable, "-c", FILM, str(saved), str(film)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        assert child.stdout.readline().strip() == "filming"
        yield child
        child.wait(60)


@pytest.mark.skipif(os.name != "posix", reason="kill -9 is of POSIX systems")
def test_killed_at_any_moment_it_leaves_no_broken_film(saved: Path) -> None:
    chance, folder = random.Random(11), saved.parent / "films"
    folder.mkdir()
    film = folder / "film.mp4"
    began = time.perf_counter()
    with filming(saved, film):
        pass
    usual = time.perf_counter() - began
    film.unlink()
    finished = 0
    for _ in range(KILLS):
        with filming(saved, film) as child:
            time.sleep(chance.uniform(0, 0.6) * usual)
            child.send_signal(signal.SIGKILL)
        if film.exists():
            assert frames_of(film) == COUNT
            finished += 1
            film.unlink()
        assert len(load_project(saved).frames) == COUNT
    assert finished < KILLS
    time.sleep(0.5)  # encoders whose program was killed end by themselves
    assert main(["flash", str(saved)]) == 1  # any start of the program sweeps, even one that fails
    assert list(folder.iterdir()) == []
    assert list(notes_folder().iterdir()) == []


def test_the_film_of_a_program_that_runs_is_left_alone(saved: Path) -> None:
    film = saved.parent / "film.mp4"
    with filming(saved, film):
        assert main(["flash", str(saved)]) == 1
    assert frames_of(film) == COUNT
    assert list(notes_folder().iterdir()) == []
