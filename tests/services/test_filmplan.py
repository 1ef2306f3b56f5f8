"""What is told of a film before it is made is what comes of it."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import cv2
import numpy as np
import pytest

from lapsebench.core.filmlight import FilmLight
from lapsebench.core.filmsettings import Crop, FilmSettings
from lapsebench.core.formats import FilmFormat
from lapsebench.core.project import Project
from lapsebench.core.sequence import Frame
from lapsebench.core.sound import Sound
from lapsebench.errors import OutputError
from lapsebench.services.film import make_film
from lapsebench.services.filmplan import film_plan, refused_size

SIZE = (320, 200)
BIG = (8192, 8192)


@pytest.fixture
def project(tmp_path: Path) -> Project:
    """Return seven stills of noise."""
    rng = np.random.default_rng(3)
    frames = []
    for n in range(7):
        path = tmp_path / f"{n}.png"
        assert cv2.imwrite(str(path), rng.integers(0, 255, (SIZE[1], SIZE[0], 3), dtype=np.uint8))
        frames.append(Frame(path, width=SIZE[0], height=SIZE[1]))
    return Project(frames=tuple(frames))


@pytest.mark.parametrize(
    "film",
    [
        FilmSettings(),
        FilmSettings(format=FilmFormat.PRORES, crop=Crop.SQUARE),
        FilmSettings(format=FilmFormat.GIF, fps=Fraction(60)),
        FilmSettings(format=FilmFormat.WEBP, size=(1280, 720)),
        FilmSettings(format=FilmFormat.TIFF, size=(100, 60), exact=True),
    ],
    ids=lambda film: film.format.value,
)
def test_the_film_comes_out_as_told(project: Project, tmp_path: Path, film: FilmSettings) -> None:
    project = replace(project, film=film)
    told = film_plan(project, range(7))
    told.check()
    nothing = np.zeros(7)
    done = make_film(project, FilmLight(nothing, nothing, nothing), tmp_path / "film", frames=range(7))
    assert (done.size, len(done.frames), done.fps) == (told.size, told.frames, told.fps)
    assert done.seconds == pytest.approx(told.seconds)


def test_six_thousand_frames_make_a_loop_of_at_most_six_hundred(project: Project) -> None:
    frames = project.frames[:1] * 6000
    told = film_plan(replace(project, frames=frames, film=FilmSettings(format=FilmFormat.GIF)), range(6000))
    assert (told.frames, told.fps) == (600, Fraction(5, 2))


def test_what_a_format_cannot_carry_is_told_before(project: Project) -> None:
    film = FilmSettings(format=FilmFormat.EXR, sound=Sound(Path("song.wav")))
    with pytest.raises(OutputError, match="OpenEXR, half floats carries no sound"):
        film_plan(replace(project, film=film), range(7)).check()
    with pytest.raises(OutputError, match="larger than players can show"):
        film_plan(replace(project, film=FilmSettings(size=BIG, exact=True)), range(7)).check()


def test_sizes_are_refused_by_format_and_never_for_the_sound(project: Project) -> None:
    sound = Sound(Path("song.wav"))
    for form, refused in ((FilmFormat.H264, ""), (FilmFormat.TIFF, ""), (FilmFormat.GIF, "A loop has at most 640 pixels")):
        told = refused_size(replace(project, film=FilmSettings(format=form, sound=sound)), range(7), (7680, 4320))
        assert told.startswith(refused)
        assert bool(told) == bool(refused)
    fast = replace(project, film=FilmSettings(fps=Fraction(240)))
    assert "can't run at 240 frames a second" in refused_size(fast, range(7), (7680, 4320))
