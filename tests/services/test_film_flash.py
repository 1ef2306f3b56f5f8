"""Every film is examined for flashes while it is made, with the verdict that its finished file gets too."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from lapsebench.__main__ import main
from lapsebench.core.filmlight import LightSettings
from lapsebench.core.filmsettings import FilmSettings
from lapsebench.core.flash import Verdict
from lapsebench.core.formats import FilmFormat
from lapsebench.core.project import Project
from lapsebench.services.film import FilmDone, make_film
from lapsebench.services.flashcheck import check_film
from lapsebench.services.survey import gather, level, survey

COUNT = 30


def night(folder: Path, codes: list[int]) -> Path:
    """Write stills of even brightness with a darker foot."""
    folder.mkdir()
    for i, code in enumerate(codes):
        picture = np.full((120, 180, 3), code, np.uint8)
        picture[90:] = 20
        picture[100, i] = 60  # no two stills are the same file
        Image.fromarray(picture).save(folder / f"N{i:03}.png")
    return folder


def filmed(folder: Path, output: Path, form: FilmFormat) -> FilmDone:
    project: Project = gather([folder])[0]
    project = replace(project, film=FilmSettings(format=form, quality=100), light=LightSettings(even=False))
    project = replace(project, taken_in=frozenset(range(len(project.frames))))
    surveyed = survey(project)
    return make_film(project, level(surveyed, project), output, frames=range(len(project.frames)))


@pytest.mark.parametrize("form", [FilmFormat.H264, FilmFormat.PRORES, FilmFormat.HLG])
@pytest.mark.parametrize(("period", "verdict"), [(0, Verdict.SAFE), (25, Verdict.SAFE), (4, Verdict.FAILS)])
def test_the_verdict_is_that_of_the_file(tmp_path: Path, form: FilmFormat, period: int, verdict: Verdict) -> None:
    codes = [180 if period and i % period < period // 2 else 90 for i in range(COUNT)]
    done = filmed(night(tmp_path / "night", codes), tmp_path / "film", form)
    assert done.flash is not None
    assert done.flash.verdict is verdict
    assert done.flash.frames == COUNT
    of_file = check_film(done.path)
    assert of_file.verdict is verdict
    assert {finding.kind for finding in of_file.findings} == {finding.kind for finding in done.flash.findings}


def test_frames_that_were_there_before_are_said_not_to_be_examined(tmp_path: Path) -> None:
    folder = night(tmp_path / "night", [90] * 6)
    filmed(folder, tmp_path / "frames", FilmFormat.TIFF)
    for path in list((tmp_path / "frames").glob("*.tif"))[:2]:
        path.unlink()
    done = filmed(folder, tmp_path / "frames", FilmFormat.TIFF)
    assert done.flash is not None
    assert done.flash.frames == 2
    assert "4 frames were there before" in done.flash.problem


def test_the_command_tells_and_reports_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = night(tmp_path / "night", [180 if i % 4 < 2 else 90 for i in range(COUNT)])
    report = tmp_path / "film.json"
    told = ["film", str(folder), "-o", str(tmp_path / "film.mp4"), "--as-shot", "--report", str(report)]
    assert main(told) == 0
    assert "flashes a second" in capsys.readouterr().out
    flash = json.loads(report.read_text())["film"]["flash"]
    assert flash["verdict"] == "fails"
    assert "no medical assurance" in flash["caution"]
