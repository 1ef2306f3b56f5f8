"""Film formats from the command line: named, checked before any work, reported."""

from __future__ import annotations

import json
import wave
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from lapsebench.cli.main import run as run_command
from lapsebench.core.filmsettings import FilmSettings
from lapsebench.core.formats import FilmFormat
from lapsebench.io.projectfile import save_project
from lapsebench.services.survey import gather

Frames = Callable[..., Path]


def run(*words: object) -> int:
    return run_command([str(word) for word in words], open_window=lambda *_: 1)


def test_a_format_is_named_and_reported(make_frames: Frames, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ("--format", "hevc", "--fps", "23.976", "--report", tmp_path / "r.json")
    assert run("film", make_frames(6), "-o", tmp_path / "clip", *words) == 0
    assert "clip.mp4: 6 frames, 96 x 64" in capsys.readouterr().out
    told = json.loads((tmp_path / "r.json").read_text())["film"]
    assert (told["file"], told["format"], told["fps"], told["frames"]) == ("clip.mp4", "hevc", "24000/1001", 6)
    assert (told["check"]["tag"], told["check"]["colour"], told["check"]["fps"]) == ("hvc1", [1, 1, 1, 1], "24000/1001")
    with av.open(tmp_path / "clip.mp4") as film:
        assert film.streams.video[0].codec_context.name == "hevc"


def test_frames_go_into_a_folder(make_frames: Frames, tmp_path: Path) -> None:
    assert run("film", make_frames(3), "-o", tmp_path / "out", "--format", "tiff") == 0
    assert len(list((tmp_path / "out").glob("out_0000?.tif"))) == 3


@pytest.mark.parametrize(
    "case",
    [
        ("prores", "a.mp4", "End the name in .mov"),
        ("h264", "a.mkv", ".mp4 or .mov"),
        ("tiff", "a.tif", "Leave the suffix out"),
    ],
)
def test_a_wrong_suffix_is_said_before_any_work(
    make_frames: Frames, tmp_path: Path, capsys: pytest.CaptureFixture[str], case: tuple[str, str, str]
) -> None:
    form, name, said = case
    assert run("film", make_frames(2), "-o", tmp_path / name, "--format", form) == 1
    told = capsys.readouterr().err
    assert said in told
    assert "Measuring" not in told


def test_a_project_has_its_own_format(make_frames: Frames, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    project, _ = gather([make_frames(3)])
    film = FilmSettings(Fraction(25), format=FilmFormat.FFV1)
    save_project(replace(project, film=film), tmp_path / "night.lapsebench")
    assert run("film", tmp_path / "night.lapsebench", "-o", tmp_path / "a") == 0
    assert (tmp_path / "a.mkv").is_file()
    assert run("film", tmp_path / "night.lapsebench", "-o", tmp_path / "b.mp4") == 1
    assert "End the name in .mkv" in capsys.readouterr().err
    assert run("film", tmp_path / "night.lapsebench", "-o", tmp_path / "b.mp4", "--format", "h264") == 0


def test_music_is_laid_under_the_film(make_frames: Frames, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    tune = tmp_path / "tune.wav"
    with wave.open(str(tune), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(48_000)
        file.writeframes(np.rint(9000 * np.sin(np.arange(96_000) / 8)).astype("<i2").tobytes())
    folder, words = (
        make_frames(10),
        ("--sound", tune, "--sound-start", "1", "--loudness", "-23", "--report", tmp_path / "r.json"),
    )
    assert run("film", folder, "-o", tmp_path / "a.mp4", *words) == 0
    assert json.loads((tmp_path / "r.json").read_text())["film"]["check"]["sound_s"] == pytest.approx(0.4, abs=0.05)
    with av.open(tmp_path / "a.mp4") as film:
        assert film.streams.audio[0].codec_context.name == "aac"
    assert run("film", folder, "-o", tmp_path / "b.mp4", "--sound", tune, "--sound-start", "3") == 1
    told = capsys.readouterr().err
    assert "ends before second 3" in told
    assert run("film", folder, "-o", tmp_path / "b", "--sound", tune, "--format", "gif") == 1
    assert "carries no sound" in capsys.readouterr().err


def test_the_help_says_what_each_format_is_for(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        run("film", "--help")
    told = " ".join(capsys.readouterr().out.split())
    assert all(form.value in told and form.facts.purpose.partition(":")[0] in told for form in FilmFormat)
