"""The look on the command line: by its name, with a look-up table, and put back to plain."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from pathlib import Path

import av
import numpy as np
import pytest
from PIL import Image

from lapsebench.__main__ import main
from lapsebench.core.look import Look
from lapsebench.io.projectfile import save_project
from lapsebench.services.survey import gather

COUNT = 3
ONLY_RED = "LUT_3D_SIZE 2\n" + "\n".join(f"{i % 2} 0 0" for i in range(8)) + "\n"
"""Leaves red as it is and takes green and blue away: red is the fastest of the three in a .cube file."""


@pytest.fixture
def night(tmp_path: Path) -> Path:
    folder = tmp_path / "night"
    folder.mkdir()
    codes = np.random.default_rng(1).integers(20, 120, (12, 18, 3), np.uint8).repeat(8, axis=0).repeat(8, axis=1)
    for i in range(COUNT):
        Image.fromarray(codes + np.uint8(i)).save(folder / f"N{i}.png")
    return folder


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "red.cube"
    path.write_text(ONLY_RED)
    return path


def filmed(source: Path, film: Path, *options: str) -> np.ndarray:
    """Return the film's first frame as the command makes it, (h, w, 3)."""
    assert main(["film", str(source), "-o", str(film), "--quality", "100", "--as-shot", *options]) == 0
    with av.open(str(film)) as container:
        return np.asarray(next(container.decode(video=0)).to_ndarray(format="rgb24"), float)


def test_each_look_is_another_film_and_plain_is_the_pictures(night: Path, tmp_path: Path) -> None:
    names = ("plain", "natural-night", "clear-stars", "soft-glow")
    films = {name: filmed(night, tmp_path / f"{name}.mp4", "--look", name) for name in names}
    still = np.asarray(Image.open(night / "N0.png"), float)
    assert np.abs(films["plain"] - still).mean() < 3
    for one, other in combinations(films.values(), 2):
        assert np.abs(one - other).mean() > 1.5
    assert films["clear-stars"].std() > 1.1 * films["plain"].std()
    assert films["soft-glow"].std() < films["plain"].std()


def test_the_pictures_go_through_the_table(night: Path, table: Path, tmp_path: Path) -> None:
    red = filmed(night, tmp_path / "red.mp4", "--lut", str(table))
    plain = filmed(night, tmp_path / "plain.mp4")
    inner = np.s_[4::8, 4::8]  # colour is coded at half the size
    assert red[inner][..., 1:].mean() < 25
    assert red[inner][..., 0].mean() == pytest.approx(plain[inner][..., 0].mean(), rel=0.15)


def test_a_projects_look_stays_unless_another_is_named(night: Path, tmp_path: Path) -> None:
    project, _ = gather([night])
    grey = Look(saturation=-100, exposure=1)
    kept = tmp_path / "night.lapsebench"
    save_project(replace(project, shots=tuple(replace(shot, look=grey) for shot in project.shots)), kept)

    def colour(film: np.ndarray) -> float:
        return float(np.ptp(film[4::8, 4::8], axis=2).mean())

    own = filmed(kept, tmp_path / "own.mp4")
    plain = filmed(kept, tmp_path / "plain.mp4", "--look", "plain")
    natural = filmed(kept, tmp_path / "natural.mp4", "--look", "natural-night")
    assert colour(own) < 6
    assert colour(plain) > 20
    assert own.mean() > 1.2 * plain.mean()
    assert natural.mean() > 1.2 * plain.mean()  # a look by name leaves the exposure as it was set


@pytest.mark.parametrize(("text", "told"), [(None, "is not there"), ("LUT_3D_SIZE 2\n0 0 x\n", "Line 2")])
def test_a_table_that_cant_be_used_is_told_before_anything_is_made(
    night: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str | None, told: str
) -> None:
    path, film = tmp_path / "bad.cube", tmp_path / "bad.mp4"
    if text is not None:
        path.write_text(text)
    assert main(["film", str(night), "-o", str(film), "--lut", str(path)]) == 1
    err = capsys.readouterr().err
    assert "bad.cube" in err
    assert told in err
    assert "Measuring" not in err
    assert not film.exists()


def test_a_look_of_no_known_name_is_refused(night: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["film", str(night), "-o", "film.mp4", "--look", "moonlight"])
    assert stop.value.code == 2
    assert "moonlight" in capsys.readouterr().err
