"""Bad input ends in a clear message or a flagged frame; the sources stay as they were, byte for byte."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from PIL import Image

from lapsebench.cli.main import run as run_command
from lapsebench.core.filmsettings import FilmSettings
from lapsebench.io.projectfile import load_project, save_project
from lapsebench.services.survey import gather


def run(*words: object) -> int:
    return run_command([str(word) for word in words], open_window=lambda *_: 1)


def hashes(folder: Path) -> dict[str, str]:
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(folder.iterdir())}


@pytest.fixture
def spoilt(make_frames: Callable[..., Path]) -> Iterator[Path]:
    """Return a night with a truncated JPEG, a text named .jpg, a 1 x 1 image and an empty file; all stay as they were."""
    folder = make_frames(12)
    whole = (folder / "N0004.jpg").read_bytes()
    (folder / "N0004.jpg").write_bytes(whole[: len(whole) // 2])
    (folder / "N0006.jpg").write_text("not a picture")
    Image.fromarray(np.full((1, 1, 3), 120, np.uint8)).save(folder / "N0008.jpg")
    (folder / "N0010.jpg").write_bytes(b"")
    before = hashes(folder)
    yield folder
    assert hashes(folder) == before


def test_spoilt_files_are_flagged_and_the_rest_is_filmed(
    spoilt: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    report = tmp_path / "r.json"
    assert run("film", spoilt, "-o", tmp_path / "out.mp4", "--report", report) == 0
    frames = {frame["file"]: frame for frame in json.loads(report.read_text())["frames"]}
    assert len(frames) == 12
    faults = {name: frame["faults"] for name, frame in frames.items() if frame["faults"]}
    assert faults == {
        "N0004.jpg": ["unreadable"],
        "N0006.jpg": ["unreadable"],
        "N0008.jpg": ["odd size"],
        "N0010.jpg": ["unreadable"],
    }
    assert all(frames[name]["used"] is False for name in faults)
    assert frames["N0004.jpg"]["luminance_ev"] is None
    assert "Traceback" not in capsys.readouterr().err


@pytest.mark.parametrize("kind", ["missing", "empty", "text only"])
def test_a_folder_without_frames_says_so(tmp_path: Path, kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "night"
    if kind != "missing":
        folder.mkdir()
    if kind == "text only":
        (folder / "notes.txt").write_text("cold")
    assert run("survey", folder) == 1
    said = capsys.readouterr().err
    assert "night" in said
    assert len(said.strip().splitlines()) <= 3


def test_a_folder_that_may_not_be_read_says_so(
    make_frames: Callable[..., Path], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = make_frames(2)

    def refuse(path: object) -> None:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr("os.scandir", refuse)  # root may read everything, so the refusal is made here
    assert run("survey", folder) == 1
    assert "permission" in capsys.readouterr().err.lower()


@pytest.mark.parametrize("option", ["-o", "--report"])
def test_a_source_is_never_written(make_frames: Callable[..., Path], tmp_path: Path, option: str) -> None:
    folder = make_frames(4)
    before = hashes(folder)
    source = folder / "N0001.jpg"
    words = ["-o", source] if option == "-o" else ["-o", tmp_path / "out.mp4", "--report", source]
    assert run("film", folder, *words, "--overwrite") == 1
    assert hashes(folder) == before


def test_a_film_that_is_there_is_kept_unless_asked(make_frames: Callable[..., Path], tmp_path: Path) -> None:
    folder, output = make_frames(4), tmp_path / "out.mp4"
    output.write_bytes(b"precious")
    assert run("film", folder, "-o", output) == 1
    assert output.read_bytes() == b"precious"
    assert run("film", folder, "-o", output, "--overwrite") == 0
    assert output.stat().st_size > 1000


def test_an_output_folder_that_is_not_there_is_said_before_the_work(
    make_frames: Callable[..., Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("film", make_frames(4), "-o", tmp_path / "nowhere" / "out.mp4") == 1
    assert "Measuring" not in capsys.readouterr().err


def test_one_frame_makes_a_film_of_one_frame(make_frames: Callable[..., Path], tmp_path: Path) -> None:
    assert run("film", make_frames(1), "-o", tmp_path / "out.mp4") == 0


def test_nothing_left_to_film_says_so(
    make_frames: Callable[..., Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = make_frames(2)
    for path in folder.iterdir():
        path.write_bytes(path.read_bytes()[:700])
    assert run("film", folder, "-o", tmp_path / "out.mp4") == 1
    assert "Nothing to film" in capsys.readouterr().err
    assert not (tmp_path / "out.mp4").exists()
    shutil.rmtree(folder)


def test_a_project_is_filmed_with_its_settings_and_those_given(make_frames: Callable[..., Path], tmp_path: Path) -> None:
    project, _ = gather([make_frames(6)])
    kept = replace(project, film=FilmSettings(Fraction(50), quality=90), left_out=frozenset({2}))
    save_project(kept, tmp_path / "night.lapsebench")
    assert run("film", tmp_path / "night.lapsebench", "-o", tmp_path / "a.mp4") == 0
    assert run("film", tmp_path / "night.lapsebench", "-o", tmp_path / "b.mp4", "--fps", 30, "--size", "64x48") == 0
    with av.open(tmp_path / "a.mp4") as one, av.open(tmp_path / "b.mp4") as other:
        a, b = one.streams.video[0], other.streams.video[0]
        assert (a.frames, a.average_rate) == (5, Fraction(50))
        assert (b.width, b.height, b.average_rate) == (64, 48, Fraction(30))


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--fps", "500"], "no frame rate from 1 to 240"),
        (["--fps", "25/0"], "no frame rate"),
        (["--size", "10x10"], "no size from 16x16"),
        (["--size", "wide"], "no size"),
        (["--ramp", "-3"], "no time from 0.1 to 600 seconds"),
        (["--ramp", "nan"], "no time from 0.1 to 600 seconds"),
        (["--ramp", "long"], "no time from 0.1 to 600 seconds"),
        (["--sound-start", "-1"], "no time from 0 to 86400 seconds"),
        (["--size", "640x480x3"], "no size from 16x16"),
        (["--sky-kept", "101"], "no whole number from 0 to 100"),
        (["--sky-kept", "12.5"], "no whole number from 0 to 100"),
        (["--meter", "moon"], "invalid choice: 'moon' (choose from"),
        (["--meter-box", "0.5,0.5,0.6,0.1"], "no box within the picture"),
        (["--meter-box", "0.5,0.5,0.1"], "no box within the picture"),
        (["--meter-box", "nan,0,0.5,0.5"], "no box within the picture"),
        (["--meter-box", "0,0,0.001,1"], "at least 0.02 wide and high"),
        (["--meter", "sky", "--meter-box", "0,0,1,1"], "not allowed with"),
        (["--preset", "calm"], "invalid choice: 'calm' (choose from"),
    ],
)
def test_options_out_of_range_are_told_in_words(words: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stopped:
        run("film", "night", "-o", "out.mp4", *words)
    assert stopped.value.code == 2
    assert said in capsys.readouterr().err


def test_a_hard_link_to_a_source_is_a_source(make_frames: Callable[..., Path], tmp_path: Path) -> None:
    folder = make_frames(4)
    before = hashes(folder)
    (tmp_path / "night.mp4").hardlink_to(folder / "N0001.jpg")
    assert run("film", folder, "-o", tmp_path / "night.mp4", "--overwrite") == 1
    assert hashes(folder) == before


def test_a_report_replaces_nothing_but_a_report(make_frames: Callable[..., Path], tmp_path: Path) -> None:
    folder = make_frames(4)
    film, notes = tmp_path / "a.mp4", tmp_path / "notes.txt"
    notes.write_text("mine")
    assert run("film", folder, "-o", film, "--report", film) == 1
    assert run("survey", folder, "--json", notes) == 1
    assert notes.read_text() == "mine"
    assert not film.exists()
    for _ in range(2):
        assert run("survey", folder, "--json", tmp_path / "night.json") == 0


@pytest.mark.parametrize("option", ["-o", "--report"])
def test_a_name_too_long_for_the_disk_says_so(
    make_frames: Callable[..., Path], tmp_path: Path, option: str, capsys: pytest.CaptureFixture[str]
) -> None:
    long = tmp_path / ("n" * 300 + ".mp4")
    words = ["-o", long] if option == "-o" else ["-o", tmp_path / "a.mp4", "--report", long]
    assert run("film", make_frames(2), *words) == 1
    assert "written" in capsys.readouterr().err


def test_a_name_that_is_no_unicode_survives(make_frames: Callable[..., Path], tmp_path: Path) -> None:
    folder = make_frames(4)
    odd = Path(os.fsdecode(os.fsencode(folder) + b"/N\xff9.jpg"))
    (folder / "N0003.jpg").rename(odd)
    assert run("film", folder, "-o", tmp_path / "a.mp4", "--report", tmp_path / "r.json") == 0
    assert odd.name in {frame["file"] for frame in json.loads((tmp_path / "r.json").read_text())["frames"]}
    project, _ = gather([folder])
    save_project(project, tmp_path / "p.lapsebench")
    assert {frame.path for frame in load_project(tmp_path / "p.lapsebench").frames} == set(folder.iterdir())


def test_steps_are_counted_within_shots(
    make_frames: Callable[..., Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    night = make_frames(16)
    for path in sorted(night.iterdir())[8:]:
        still = Image.open(path)
        dark = still.point([value // 3 for value in range(256)] * 3)
        dark.crop((0, 0, 80, 64)).save(path, quality=95, exif=still.getexif())
    assert run("survey", night, "--json", tmp_path / "r.json") == 0
    assert [shot["why"] for shot in json.loads((tmp_path / "r.json").read_text())["shots"]] == [
        "start",
        "another picture size",
    ]
    assert "16 good frames; largest step of the exposure: 0.0" in capsys.readouterr().out


def test_two_cameras_at_the_same_time_are_two_shots(make_frames: Callable[..., Path], tmp_path: Path) -> None:
    first, second = make_frames(12, name="a", camera="Velmar N2"), make_frames(12, name="b", camera="Velmar P1")
    assert run("survey", first, second, "--json", tmp_path / "r.json") == 0
    shots = json.loads((tmp_path / "r.json").read_text())["shots"]
    assert [(shot["first"], shot["last"]) for shot in shots] == [(0, 11), (12, 23)]


def test_odd_sizes_are_made_even_and_said(
    make_frames: Callable[..., Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("film", make_frames(2), "-o", tmp_path / "a.mp4", "--size", "81x61") == 0
    assert "even" in capsys.readouterr().err
    with av.open(tmp_path / "a.mp4") as film:
        width, height = film.streams.video[0].width, film.streams.video[0].height
    assert (width % 2, height % 2) == (0, 0)
    assert abs(width - 81) <= 1
    assert abs(height - 61) <= 1


def test_two_shapes_at_once_are_refused_before_the_work(
    make_frames: Callable[..., Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["--size", "640x480", "--crop", "1:1"]
    assert run("film", make_frames(2), "-o", tmp_path / "a.mp4", *words) == 1
    assert "Measuring" not in capsys.readouterr().err
