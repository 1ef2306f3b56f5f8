"""The film's frame on the command line: a part of the picture, a move over the shot, straightening."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import av
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from lapsebench.__main__ import main
from lapsebench.core.view import Aim, View
from lapsebench.io.projectfile import save_project
from lapsebench.services.survey import gather

SIZE = (192, 128)
COUNT = 6


@pytest.fixture
def night(tmp_path: Path) -> Path:
    """Return a folder of stills with a dark left and a bright right half, parted along an upright line."""
    folder = tmp_path / "night"
    folder.mkdir()
    pixels = np.full((SIZE[1], SIZE[0], 3), 40, np.uint8)
    pixels[:, SIZE[0] // 2 :] = 160
    for i in range(COUNT):
        pixels[:4, :4] = 40 + i  # two files with the same pixels would be one still
        Image.fromarray(pixels).save(folder / f"F{i}.jpg", quality=95)
    return folder


def filmed(night: Path, *options: str) -> list[NDArray[np.float64]]:
    """Return the light codes (h, w) of every frame of a film made with options."""
    film = night.parent / "film.mp4"
    told = ["film", str(night), "-o", str(film), "--as-shot", "--quality", "100", "--overwrite", *options]
    assert main(told) == 0
    with av.open(str(film)) as container:
        return [np.asarray(frame.to_ndarray(format="rgb24"), float).mean(axis=2) for frame in container.decode(video=0)]


def edge_of(row: NDArray[np.float64]) -> float:
    """Return where the bright half of a row begins, share of its width."""
    return float((row < 100).mean())


def test_a_part_is_cut_out_with_the_sources_pixels(night: Path) -> None:
    frames = filmed(night, "--frame", "0.375,0.5,0.5")
    assert frames[0].shape == (64, 96)
    for frame in frames:
        assert edge_of(frame[32]) == pytest.approx(0.75, abs=0.02), "a quarter of the picture left of its middle"


def test_a_move_goes_from_the_first_part_to_the_second(night: Path) -> None:
    frames = filmed(night, "--frame", "0.4,0.5,0.5:0.6,0.5,0.5", "--size", "96x64")
    edges = [edge_of(frame[32]) for frame in frames]
    assert edges[0] == pytest.approx(0.7, abs=0.02)
    assert edges[-1] == pytest.approx(0.3, abs=0.02)
    assert all(first >= second for first, second in pairwise(edges))
    # shares of the way at 0, 1/5 ... 1 of the time, by cosine easing: (1 - cos(pi t)) / 2
    eased = (1 - np.cos(np.pi * np.arange(COUNT) / (COUNT - 1))) / 2
    assert edges == pytest.approx(list(0.7 - 0.4 * eased), abs=0.02)


@pytest.mark.parametrize("degrees", [5.0, -5.0])
def test_straightening_turns_the_picture_clockwise(night: Path, degrees: float) -> None:
    """Clockwise an upright line leans to the right: above the middle its edge lies further right."""
    frame = filmed(night, "--straighten", str(degrees))[0]
    height, width = frame.shape
    assert (width, height) < SIZE, "no black corners"
    assert frame.min() > 20
    high, low = edge_of(frame[4]) * width, edge_of(frame[-5]) * width
    assert (high - low) / (height - 9) == pytest.approx(np.tan(np.radians(degrees)), abs=0.02)


def test_what_is_not_given_stays_as_the_project_has_it(night: Path, tmp_path: Path) -> None:
    project, _ = gather([night])
    framed = replace(project, shots=tuple(replace(shot, view=View(Aim(0.375, 0.5, 0.5))) for shot in project.shots))
    save_project(framed, tmp_path / "night.lapsebench")
    film = tmp_path / "of project.mp4"
    assert main(["film", str(tmp_path / "night.lapsebench"), "-o", str(film), "--straighten", "0"]) == 0
    with av.open(str(film)) as container:
        stream = container.streams.video[0]
        assert (stream.width, stream.height) == (96, 64)


@pytest.mark.parametrize(
    ("option", "wrong"),
    [
        ("--straighten", "16"),
        ("--straighten", "nan"),
        ("--straighten", "level"),
        ("--frame", "0.5,0.5"),
        ("--frame", "0.5,0.5,1.2"),
        ("--frame", "0.5,nan,1"),
        ("--frame", "0.5,0.5,1:"),
        ("--frame", "0.5,0.5,1:0.5,0.5,1:0.5,0.5,1"),
    ],
)
def test_a_framing_that_is_none_is_refused_in_words(
    night: Path, option: str, wrong: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["film", str(night), "-o", str(night.parent / "film.mp4"), f"{option}={wrong}"])
    assert stop.value.code == 2
    told = capsys.readouterr().err
    assert repr(wrong) in told
    assert "is no" in told
    assert not (night.parent / "film.mp4").exists()
