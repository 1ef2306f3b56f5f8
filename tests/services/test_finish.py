"""Looks and views in the film: the same on screen and in every film, stars whole, pans even."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from unittest.mock import Mock

import av
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from lapsebench.core.filmsettings import FilmSettings
from lapsebench.core.formats import FilmFormat
from lapsebench.core.look import Look
from lapsebench.core.project import Project
from lapsebench.core.transfer import linear_to_srgb, srgb_to_linear
from lapsebench.core.view import Aim, View
from lapsebench.errors import LapsebenchError
from lapsebench.imaging.framing import framing_of
from lapsebench.io.cubefile import read_cube
from lapsebench.io.projectfile import load_project, save_project
from lapsebench.services import finish, preview
from lapsebench.services.film import make_film
from lapsebench.services.finish import Finish, finish_of
from lapsebench.services.survey import gather, level, survey

SIZE, COUNT = (180, 120), 6


def sky(i: int = 0) -> NDArray[np.uint8]:
    """Return a green glow with a star, (h, w, 3) codes."""
    y, x = np.mgrid[0 : SIZE[1], 0 : SIZE[0]]
    glow = 0.1 * np.exp(-(((y - 50) / 25) ** 2))[..., None] * (0.3, 1.0, 0.4) + 0.01
    glow[30, 40 + i] += 0.5
    return np.rint(255 * linear_to_srgb(np.clip(glow + 0.0003 * x[..., None], 0, 1))).astype(np.uint8)


@pytest.fixture
def project(tmp_path: Path) -> Project:
    folder = tmp_path / "night"
    folder.mkdir()
    for i in range(COUNT):
        Image.fromarray(sky(i)).save(folder / f"N{i}.png")
    project = gather([folder])[0]
    return replace(project, film=FilmSettings(quality=100), light=replace(project.light, even=False))


def seen(project: Project, **changes: object) -> Project:
    """Return the project with its one shot changed."""
    return replace(project, shots=(replace(project.shots[0], **changes),))  # type: ignore[arg-type]


def filmed(project: Project, output: Path) -> list[NDArray[np.uint8]]:
    """Make the film and return its frames as decoded."""
    surveyed = survey(project)
    done = make_film(project, level(surveyed, project), output)
    with av.open(str(done.path)) as container:
        return [np.rint(frame.to_ndarray(format="rgb48le") / 257).astype(np.uint8) for frame in container.decode(video=0)]


LOOK = Look(warmth=30, exposure=0.5, contrast=20, saturation=20, highlights=20)


def test_the_film_has_the_look_that_the_screen_shows(project: Project, tmp_path: Path) -> None:
    project = replace(seen(project, look=LOOK), film=FilmSettings(format=FilmFormat.FFV1))
    frames = filmed(project, tmp_path / "film.mkv")
    shown = preview.picture(project.frames[2], 0.0, finish=finish_of(LOOK)).astype(int)
    assert np.abs(frames[2].astype(int) - shown).max() <= 2
    assert np.abs(shown - sky(2)).max() > 10


def test_small_and_slider_pictures_have_it_too(project: Project) -> None:
    surveyed, frame, finish = survey(project), project.frames[1], finish_of(LOOK)
    measure = surveyed.measures[1]
    assert measure is not None
    sharp = preview.picture(frame, 0.3, finish=finish).astype(int)
    for other in (
        preview.small_picture(measure, frame, 0.3, finish=finish),
        preview.with_gain(preview.picture(frame, 0.0), 0.3, finish=finish),
    ):
        assert np.abs(other.astype(int) - sharp).mean() < 2.5


def test_a_plain_look_and_view_leave_every_code_as_it_is(project: Project, tmp_path: Path) -> None:
    project = replace(project, film=FilmSettings(format=FilmFormat.FFV1))
    frames = filmed(project, tmp_path / "film.mkv")
    for i, frame in enumerate(frames):
        assert np.array_equal(frame, sky(i))


def test_exposure_of_the_look_is_that_of_a_gain() -> None:
    finish = Finish(Look(exposure=-1.0))
    assert finish.is_plain
    assert finish.gain(0.25) == -0.75
    assert finish.gain((0.1, 0.2, 0.3)) == pytest.approx((-0.9, -0.8, -0.7))
    assert finish.gain(float("nan")) == -1.0


def test_a_table_changes_the_film_and_a_lost_one_is_told(project: Project, tmp_path: Path) -> None:
    cube = tmp_path / "swap.cube"
    rows = [f"{b} {g} {r}" for b in (0, 1) for g in (0, 1) for r in (0, 1)]
    cube.write_text("LUT_3D_SIZE 2\n" + "\n".join(rows) + "\n")
    look = Look(lut=str(cube))
    shown = preview.picture(project.frames[0], 0.0, finish=finish_of(look))
    assert np.abs(shown.astype(int) - sky()[..., ::-1]).max() <= 1
    cube.unlink()
    with pytest.raises(LapsebenchError, match=r"swap\.cube"):
        filmed(seen(project, look=look), tmp_path / "film.mp4")


def test_a_damaged_table_is_parsed_once_until_it_changes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    table, read = tmp_path / "bad.cube", Mock(wraps=read_cube)
    table.write_text("LUT_3D_SIZE 2\n" + "0 0 nothing\n" * 8)
    monkeypatch.setattr(finish, "read_cube", read)
    told = set()
    for _ in range(3):
        with pytest.raises(LapsebenchError) as error:
            finish_of(Look(lut=str(table)))
        told.add(str(error.value))
    read.assert_called_once_with(table)
    assert len(told) == 1 and "bad.cube" in told.pop()
    table.write_text("LUT_1D_SIZE 2\n0 0 0\n1 1 1\n")
    assert finish_of(Look(lut=str(table))).lut is not None


def test_a_table_that_can_be_read_again_is_read_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A drive that fails for a moment says nothing of the file."""
    table = tmp_path / "good.cube"
    table.write_text("LUT_1D_SIZE 2\n0 0 0\n1 1 1\n")
    with monkeypatch.context() as failing:
        failing.setattr(Path, "open", Mock(side_effect=OSError(5, "Input/output error")))
        with pytest.raises(LapsebenchError, match="Input/output error"):
            finish_of(Look(lut=str(table)))
    assert finish_of(Look(lut=str(table))).lut is not None


def test_a_zoom_goes_from_all_to_a_part(project: Project, tmp_path: Path) -> None:
    project = seen(project, view=View(Aim(), Aim(0.4, 0.4, 0.5)))
    frames = filmed(replace(project, film=FilmSettings(format=FilmFormat.FFV1)), tmp_path / "film.mkv")
    assert frames[0].shape == (SIZE[1], SIZE[0], 3)
    assert np.array_equal(frames[0], sky(0))
    last = srgb_to_linear(frames[-1] / 255)
    part = srgb_to_linear(sky(COUNT - 1)[18:78, 27:117] / 255)
    halved = last.reshape(60, 2, 90, 2, 3).mean(axis=(1, 3))
    assert np.abs(halved - part)[2:-2, 2:-2].mean() < 0.003


def test_a_part_of_the_sources_own_pixels_is_cut_out_as_it_is(project: Project, tmp_path: Path) -> None:
    project = seen(project, view=View(Aim(60 / 180, 40 / 120, 0.5)))
    frames = filmed(replace(project, film=FilmSettings(format=FilmFormat.FFV1)), tmp_path / "film.mkv")
    assert frames[0].shape == (60, 90, 3)
    assert np.array_equal(frames[3], sky(3)[10:70, 15:105])


def test_a_straightened_horizon_is_level_in_the_film(tmp_path: Path) -> None:
    folder = tmp_path / "night"
    folder.mkdir()
    y, x = np.mgrid[0:200, 0:300]
    ground = ((y - 100) > (x - 150) * np.tan(np.radians(3))).astype(float)
    for i in range(3):
        Image.fromarray(np.rint(255 * linear_to_srgb(0.3 * (1 - ground[..., None] * np.ones(3)))).astype(np.uint8)).save(
            folder / f"N{i}.png"
        )
    project = gather([folder])[0]
    project = replace(seen(project, view=View(turn_deg=-3.0)), film=FilmSettings(format=FilmFormat.FFV1))
    (frame, *_) = filmed(replace(project, light=replace(project.light, even=False)), tmp_path / "film.mkv")
    heights = (srgb_to_linear(frame[..., 1] / 255) / 0.3).sum(axis=0)
    assert np.ptp(heights[4:-4]) < 1.2


def test_all_sizes_and_shapes_hold_the_view() -> None:
    for settings in (FilmSettings(size=(1920, 1080)), FilmSettings(size=(1080, 1920), exact=True), FilmSettings()):
        framing = framing_of(settings, (6000, 4000), View(Aim(0.1, 0.9, 0.3), Aim(), turn_deg=4))
        for share in (0.0, 0.5, 1.0):
            placing = framing.placing((6000, 4000), View(Aim(0.1, 0.9, 0.3), Aim(), turn_deg=4), share)
            x, y, width, height = placing.box
            assert 0 <= x <= x + width <= 6000
            assert 0 <= y <= y + height <= 4000
            assert placing.size == framing.size
            assert framing.size[0] % 2 == framing.size[1] % 2 == 0


def test_the_project_file_keeps_look_and_view(project: Project, tmp_path: Path) -> None:
    kept = seen(project, look=LOOK, view=View(Aim(0.4, 0.6, 0.7), Aim(), turn_deg=-1.5))
    save_project(kept, tmp_path / "night.lapsebench")
    assert load_project(tmp_path / "night.lapsebench").shots == kept.shots


def test_frames_of_another_shot_have_their_own_look(project: Project, tmp_path: Path) -> None:
    first, second = replace(project.shots[0], last=2, trim_out=2), replace(project.shots[0], first=3, trim_in=3)
    project = replace(project, shots=(replace(first, look=Look(saturation=-100)), second))
    frames = filmed(replace(project, film=FilmSettings(format=FilmFormat.FFV1)), tmp_path / "film.mkv")
    assert np.ptp(frames[1].astype(int), axis=2).max() <= 1
    assert np.array_equal(frames[4], sky(4))
