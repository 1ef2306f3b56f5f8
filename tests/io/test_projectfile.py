"""A saved project comes back as it was, moves with its folder, and a damaged one is refused in clear words."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from datetime import UTC, datetime
from fractions import Fraction
from pathlib import Path

import pytest

from lapsebench.core.area import AreaKind, MeteringArea
from lapsebench.core.bodies import Body, with_offset
from lapsebench.core.filmlight import LightSettings, Peg
from lapsebench.core.filmsettings import Crop, FilmSettings
from lapsebench.core.formats import FilmFormat
from lapsebench.core.project import Project
from lapsebench.core.sequence import Fault, Frame, Shot
from lapsebench.core.sound import Loudness, Sound
from lapsebench.errors import OutputError, ProjectFileError
from lapsebench.io.projectfile import load_project, save_project

AREA = MeteringArea(AreaKind.ELLIPSE, (0.1, 0.2, 0.3, 0.45), (0.5, 0.625, 0.7))


@pytest.fixture
def night(tmp_path: Path) -> tuple[Project, Path]:
    folder = tmp_path / "night"
    (folder / "raws").mkdir(parents=True)
    frames = []
    for i in range(4):
        path = folder / "raws" / f"näet_{i}.jpg"
        path.write_bytes(b"x")
        taken = datetime(2026, 2, 11, 21, 4, i, 250_000, UTC) if i else None
        frames.append(
            Frame(path, taken, 10.0, 2.8, 1600.0, width=96, height=64, faults=frozenset({Fault.GAP} if i == 2 else ()))
        )
    project = Project(
        sources=(folder / "raws",),
        frames=tuple(frames),
        shots=(Shot(0, 1), Shot(2, 3, "a long break", trim_in=3, in_film=False, area=AREA)),
        light=LightSettings(0.25, 6.5, False, True, 0.3, (Peg(1, -4.5),), True),
        film=FilmSettings(Fraction(24000, 1001), Crop.TALL, (1080, 1920), True, 55),
        taken_in=frozenset({1}),
        left_out=frozenset({0}),
    )
    return project, folder / "night.lapsebench"


def test_a_project_comes_back_as_it_was(night: tuple[Project, Path]) -> None:
    project, path = night
    save_project(project, path)
    assert load_project(path) == project


def test_a_project_from_before_colour_was_evened_opens(night: tuple[Project, Path]) -> None:
    project, path = night
    save_project(project, path)
    record = json.loads(path.read_text())
    del record["light"]["colour"]
    path.write_text(json.dumps(record))
    assert load_project(path) == replace(project, light=replace(project.light, colour=False))


def test_format_hardware_and_sound_come_back_and_move_with_the_folder(night: tuple[Project, Path], tmp_path: Path) -> None:
    project, path = night
    sound = Sound(path.parent / "raws" / "tune.flac", 12.5, 0.0, 4.0, Loudness.BROADCAST)
    project = replace(project, film=replace(project.film, format=FilmFormat.PQ, hardware=True, sound=sound))
    save_project(project, path)
    assert load_project(path) == project
    moved = Path(shutil.move(path.parent, tmp_path / "moved"))
    loaded = load_project(moved / path.name).film.sound
    assert loaded == replace(sound, path=moved / "raws" / "tune.flac")


def test_a_project_from_before_formats_makes_h264_without_sound(night: tuple[Project, Path]) -> None:
    project, path = night
    save_project(project, path)
    record = json.loads(path.read_text())
    for name in ("format", "hardware", "sound"):
        del record["film"][name]
    path.write_text(json.dumps(record))
    assert load_project(path).film == replace(project.film, format=FilmFormat.H264, hardware=False, sound=None)


@pytest.mark.parametrize(
    "change", [{"format": "vhs"}, {"sound": {"path": "a.wav", "start_s": -1}}, {"sound": {"path": "a.wav", "loudness": -9}}]
)
def test_a_damaged_format_or_sound_is_refused(night: tuple[Project, Path], change: dict[str, object]) -> None:
    project, path = night
    save_project(project, path)
    record = json.loads(path.read_text())
    record["film"] |= change
    path.write_text(json.dumps(record))
    with pytest.raises(ProjectFileError, match="damaged"):
        load_project(path)


def test_a_project_from_before_metering_areas_opens(night: tuple[Project, Path]) -> None:
    project, path = night
    save_project(project, path)
    record = json.loads(path.read_text())
    for shot in record["shots"]:
        del shot["area"]
    path.write_text(json.dumps(record))
    assert [shot.area for shot in load_project(path).shots] == [MeteringArea(), MeteringArea()]


@pytest.mark.parametrize(
    "change",
    [
        {"kind": "moon"},
        {"box": [0, 0, 2, 1]},
        {"box": [0, 0, 1]},
        {"box": "all"},
        {"horizon": [2]},
        {"horizon": ["high"]},
        {"horizon": None},
    ],
)
def test_a_damaged_metering_area_is_refused(night: tuple[Project, Path], change: dict[str, object]) -> None:
    project, path = night
    save_project(project, path)
    record = json.loads(path.read_text())
    record["shots"][1]["area"] |= change
    path.write_text(json.dumps(record))
    with pytest.raises(ProjectFileError, match="damaged"):
        load_project(path)


def test_a_project_moves_with_its_folder(night: tuple[Project, Path], tmp_path: Path) -> None:
    project, path = night
    save_project(project, path)
    moved = shutil.move(path.parent, tmp_path / "moved")
    loaded = load_project(Path(moved) / path.name)
    assert all(frame.readable for frame in loaded.frames)
    assert loaded.frames[0].path.parent == Path(moved) / "raws"


def test_a_frame_that_is_gone_is_flagged(night: tuple[Project, Path]) -> None:
    project, path = night
    save_project(project, path)
    project.frames[2].path.unlink()
    loaded = load_project(path)
    assert [frame.readable for frame in loaded.frames] == [True, True, False, True]
    assert "no longer" in loaded.frames[2].problem


def test_a_frame_that_comes_back_is_a_frame_again(night: tuple[Project, Path]) -> None:
    project, path = night
    gone = project.frames[2].path.rename(path.parent / "elsewhere")
    save_project(project, path)
    save_project(load_project(path), path)
    gone.rename(project.frames[2].path)
    assert load_project(path) == project


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"format": "something"}, "no lapsebench project"),
        ({"version": 99}, "newer"),
        ({"frames": []}, "damaged"),
        ({"left_out": [77]}, "damaged"),
        ({"light": {}}, "damaged"),
        ({"film": {"fps": "1/0", "crop": "source", "size": None, "exact": False, "quality": 70}}, "damaged"),
        ({"film": {"fps": "25", "crop": "source", "size": None, "exact": False, "quality": "x"}}, "damaged"),
        ({"film": {"fps": "25", "crop": "source", "size": [0, 0], "exact": True, "quality": 70}}, "damaged"),
    ],
)
def test_a_damaged_project_is_refused(night: tuple[Project, Path], change: dict[str, object], words: str) -> None:
    project, path = night
    save_project(project, path)
    path.write_text(json.dumps(json.loads(path.read_text()) | change))
    with pytest.raises(ProjectFileError, match=words):
        load_project(path)


def test_text_and_missing_files_are_refused(tmp_path: Path) -> None:
    (tmp_path / "a.lapsebench").write_text("hello")
    with pytest.raises(ProjectFileError, match="no lapsebench project"):
        load_project(tmp_path / "a.lapsebench")
    with pytest.raises(ProjectFileError, match="can't be read"):
        load_project(tmp_path / "b.lapsebench")


def test_a_folder_that_is_gone_says_so(night: tuple[Project, Path], tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="can't be written"):
        save_project(night[0], tmp_path / "nowhere" / "a.lapsebench")
    assert list(tmp_path.glob("**/*.part")) == []


def test_clock_offsets_are_kept_and_the_times_of_the_files_too(night: tuple[Project, Path]) -> None:
    project, path = night
    clocks = with_offset(with_offset((), Body("Velmar N2", "11"), 3600.5), Body("Orsa T4"), -12)
    save_project(replace(project, clocks=clocks), path)
    loaded = load_project(path)
    assert loaded.clocks == clocks
    assert loaded.frames == project.frames


def test_a_project_from_before_clock_offsets_opens(night: tuple[Project, Path]) -> None:
    project, path = night
    save_project(project, path)
    record = json.loads(path.read_text())
    del record["clocks"]
    path.write_text(json.dumps(record))
    assert load_project(path) == project


@pytest.mark.parametrize("change", [{"seconds": "soon"}, {"seconds": 1e12}, {"camera": None}, {"serial": 5}])
def test_a_damaged_clock_offset_is_refused(night: tuple[Project, Path], change: dict[str, object]) -> None:
    project, path = night
    save_project(replace(project, clocks=with_offset((), Body("Orsa T4"), 60)), path)
    record = json.loads(path.read_text())
    record["clocks"][0] |= change
    path.write_text(json.dumps(record))
    with pytest.raises(ProjectFileError, match="damaged"):
        load_project(path)
