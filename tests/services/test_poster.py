"""A still of the film: the very picture that the film has, in a file that other libraries read."""

from __future__ import annotations

from dataclasses import replace
from io import BytesIO
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image, ImageCms

from lapsebench.__main__ import main
from lapsebench.core.filmsettings import FilmSettings
from lapsebench.core.look import Look
from lapsebench.core.view import Aim, View
from lapsebench.errors import OutputError
from lapsebench.services.finish import finish_of
from lapsebench.services.poster import save_picture
from lapsebench.services.preview import picture
from lapsebench.services.survey import Survey, level


def save(night: Survey, output: Path, number: int = 5, *, overwrite: bool = False) -> Path:
    return save_picture(night.project, level(night, night.project), number, output, overwrite=overwrite)


@pytest.mark.parametrize("suffix", [".png", ".tif", ".jpg"])
def test_the_picture_is_the_films(demo_survey: Survey, tmp_path: Path, suffix: str) -> None:
    look = Look(saturation=30)
    shot = replace(demo_survey.project.shots[0], look=look)
    project = replace(demo_survey.project, shots=(shot, *demo_survey.project.shots[1:]), film=FilmSettings())
    night = replace(demo_survey, project=project)
    path = save(night, tmp_path / f"still{suffix}")
    light = level(night, project)
    shown = picture(project.frames[5], light.gains_of(5), finish=finish_of(look)).astype(float)
    read = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
    assert read is not None
    assert read.dtype == (np.uint8 if suffix == ".jpg" else np.uint16)
    codes = read[..., ::-1] / (257 if read.dtype == np.uint16 else 1)
    assert codes.shape == shown.shape
    assert np.abs(codes - shown).mean() < (1.5 if suffix == ".jpg" else 0.5)


def test_what_it_says_of_its_colours(demo_survey: Survey, tmp_path: Path) -> None:
    with Image.open(save(demo_survey, tmp_path / "still.png")) as png:
        assert "srgb" in png.info
    with Image.open(save(demo_survey, tmp_path / "still.jpg")) as jpeg:
        profile = ImageCms.ImageCmsProfile(BytesIO(jpeg.info["icc_profile"]))
    assert "sRGB" in ImageCms.getProfileDescription(profile)


def test_it_has_the_films_frame(demo_survey: Survey, tmp_path: Path) -> None:
    shots = tuple(replace(shot, view=View(Aim(0.5, 0.5, 0.5))) for shot in demo_survey.project.shots)
    project = replace(demo_survey.project, shots=shots, film=FilmSettings(size=(320, 180), exact=True))
    path = save(replace(demo_survey, project=project), tmp_path / "still.png")
    with Image.open(path) as still:
        assert still.size == (320, 180)


def test_sources_and_pictures_that_are_there_are_not_written_over(demo_survey: Survey, tmp_path: Path) -> None:
    path = save(demo_survey, tmp_path / "still.png")
    before = path.read_bytes()
    with pytest.raises(OutputError, match="exists already"):
        save(demo_survey, path)
    assert path.read_bytes() == before
    save(demo_survey, path, overwrite=True)
    source = demo_survey.project.frames[0].path
    with pytest.raises(OutputError, match="source frames"):
        save(demo_survey, source, overwrite=True)
    with pytest.raises(OutputError, match="no picture"):
        save(demo_survey, tmp_path / "still.mp4")


def test_the_command_saves_one(demo: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = ["film", str(demo), "-o", str(tmp_path / "film.mp4"), "--size", "192x128", "--poster", str(tmp_path / "p.jpg")]
    assert main(told) == 0
    assert "Still saved" in capsys.readouterr().err
    with Image.open(tmp_path / "p.jpg") as still:
        assert still.size == (192, 128)
