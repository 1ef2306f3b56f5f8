"""Two cameras that saw the same sky tell by their light that one clock is off, all the way from files."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from lapsebench.core.bodies import Body, with_offset
from lapsebench.core.project import Project
from lapsebench.core.transfer import linear_to_srgb
from lapsebench.services.clocks import clock_proposals
from lapsebench.services.survey import Survey, gather, survey

Floats = NDArray[np.float64]
EVERY_S = {"Velmar N2": 10.0, "Orsa T4": 13.0}
BEHIND_S = 3600.0
FRAMES = 150


def write_night(folder: Path, camera: str, sky_ev: Floats, *, behind_s: float, seed: int) -> None:
    """Write what one camera sees: dark ground that stays, and above it a sky of this light, second by second."""
    folder.mkdir()
    random = np.random.default_rng(seed)
    scene = random.uniform(0.03, 0.2, (8, 12, 3)).repeat(8, axis=0).repeat(8, axis=1)
    for i in range(FRAMES):
        start = 60.0 + EVERY_S[camera] * i
        light = scene.copy()
        light[:32] *= 2 ** sky_ev[int(start) : int(start + 8)].mean()
        codes = np.rint(255 * linear_to_srgb(np.clip(light, 0, 1)) + random.normal(0, 0.6, light.shape))
        exif = Image.Exif()
        exif[0x0110] = camera
        marks = exif.get_ifd(0x8769)
        taken = datetime(2026, 2, 11, 21) + timedelta(seconds=start - behind_s)
        marks[0x9003], marks[0x9291] = taken.strftime("%Y:%m:%d %H:%M:%S"), "00"
        marks[0x829A], marks[0x829D], marks[0x8827] = 8.0, 2.8, 1600
        name = f"{camera[0]}{i:04}.jpg"
        Image.fromarray(np.clip(codes, 0, 255).astype(np.uint8)).save(folder / name, quality=95, exif=exif)


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Return the folders of two cameras, the second an hour behind."""
    root = tmp_path_factory.mktemp("two")
    steps = 0.05 * np.random.default_rng(5).standard_normal(2200)
    sky_ev = np.asarray(np.cumsum(steps))
    sky_ev -= np.linspace(0, sky_ev[-1], sky_ev.size)
    folders = root / "velmar", root / "orsa"
    for seed, (folder, camera) in enumerate(zip(folders, EVERY_S, strict=True)):
        write_night(folder, camera, np.clip(sky_ev, -2.5, 2.0), behind_s=BEHIND_S if seed else 0.0, seed=seed)
    return folders


@pytest.fixture(scope="module")
def surveyed(night: tuple[Path, Path], tmp_path_factory: pytest.TempPathFactory) -> Survey:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("LAPSEBENCH_CACHE", str(tmp_path_factory.mktemp("cache")))
        project, _ = gather(night)
        return survey(project)


def with_clock(project: Project, camera: str, seconds: float) -> Project:
    return replace(project, clocks=with_offset((), Body(camera), seconds))


def test_the_hour_is_found(surveyed: Survey) -> None:
    (told,) = clock_proposals(surveyed, surveyed.project)
    apart = BEHIND_S if told.body.camera == "Orsa T4" else -BEHIND_S
    print(f"off by {told.offset_s - apart:.2f} s, said {told.proposal.error_s:.2f} s, z {told.proposal.z:.1f}")
    assert told.offset_s == pytest.approx(apart, abs=3)
    assert not told.right


def test_a_clock_put_right_is_said_to_be_right_and_a_wrong_offset_is_corrected(surveyed: Survey) -> None:
    right = with_clock(surveyed.project, "Orsa T4", BEHIND_S)
    (told,) = clock_proposals(surveyed, right)
    assert told.right
    (told,) = clock_proposals(surveyed, with_clock(surveyed.project, "Orsa T4", BEHIND_S + 600))
    assert not told.right
    assert abs(told.proposal.seconds) == pytest.approx(600, abs=3)


def test_one_camera_has_nothing_to_be_set_by(demo_survey: Survey) -> None:
    assert clock_proposals(demo_survey, demo_survey.project) == ()


def lapsebench(*words: object, folder: Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "lapsebench", *map(str, words)]
    return subprocess.run(command, cwd=folder, env=os.environ, capture_output=True, text=True, timeout=240, check=False)


def test_the_command_says_how_to_set_the_clock_and_sets_it(night: tuple[Path, Path], tmp_path: Path) -> None:
    first = lapsebench("survey", *night, folder=tmp_path)
    assert first.returncode == 0, first.stderr
    note = next(line for line in first.stderr.splitlines() if "By the light of both" in line)
    option = note.split('"')[1]
    camera, _, offset = option.partition("=")
    assert (camera in EVERY_S) and offset[1:].startswith(("1:00:0", "0:59:5"))
    second = lapsebench("survey", *night, "--clock", option, "--json", "s.json", folder=tmp_path)
    assert second.returncode == 0, second.stderr
    assert "By the light of both" not in second.stderr
    frames = json.loads((tmp_path / "s.json").read_text())["frames"]
    first_of = {name: next(each for each in frames if each["file"] == f"{name}0000.jpg") for name in "VO"}
    times = [datetime.fromisoformat(first_of[name]["time"]) for name in "VO"]
    assert abs((times[0] - times[1]).total_seconds()) < 4


@pytest.mark.parametrize(
    ("option", "code", "words"),
    [
        ("Nobody=+1:00:00", 1, "No frame is by a camera called"),
        ("Orsa T4=soon", 2, "no clock offset"),
        ("+1:00:00", 2, "names no camera"),
    ],
)
def test_a_wrong_option_is_said(night: tuple[Path, Path], tmp_path: Path, option: str, code: int, words: str) -> None:
    done = lapsebench("survey", *night, "--clock", option, folder=tmp_path)
    assert (done.returncode, words in done.stderr) == (code, True), done.stderr
    assert "Traceback" not in done.stderr
