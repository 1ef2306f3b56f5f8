"""The white balance of a shot of RAW stills, chosen by the user: the light stays, the colours follow."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import av
import numpy as np
import pytest
from dng import Sensor, record, write_dng

from lapsebench.__main__ import main
from lapsebench.core.balance import Balance, BalanceKind, temperature_of
from lapsebench.core.project import Project
from lapsebench.core.transfer import srgb_to_linear
from lapsebench.errors import FrameError
from lapsebench.io.projectfile import load_project, save_project
from lapsebench.io.raw import read_colour
from lapsebench.services import preview
from lapsebench.services.balances import as_shot_of, balanced, grey_of, shown_light
from lapsebench.services.stills import measure
from lapsebench.services.survey import gather

COUNT = 4
GREY_LEFT, BLUISH_RIGHT = (0.2, 0.2, 0.2), (0.12, 0.2, 0.3)


@pytest.fixture(scope="module")
def project(tmp_path_factory: pytest.TempPathFactory) -> Project:
    folder: Path = tmp_path_factory.mktemp("raw")
    sensor, random = Sensor(), np.random.default_rng(1)
    red, _, blue = sensor.neutral
    light = np.full((64, 96, 3), GREY_LEFT)
    light[:, 48:] = BLUISH_RIGHT
    for i in range(COUNT):
        codes = record(light, sensor, gain=1.0, random=random)
        write_dng(folder / f"N{i}.dng", codes, sensor, exposure_s=8.0, neutral=(red * (1 + 0.1 * i), 1.0, blue))
    return gather([folder])[0]


@pytest.fixture
def in_balance(project: Project) -> Callable[[Balance], Project]:
    """Return the project whose one shot is seen in a balance."""
    return lambda balance: balanced(replace(project, shots=(replace(project.shots[0], balance=balance),)))


Seen = Callable[[Balance], Project]


def test_a_custom_light_comes_back_as_it_was_set(in_balance: Seen) -> None:
    seen = in_balance(Balance(BalanceKind.CUSTOM, temperature_k=3800, tint=5))
    balance = seen.frames[0].shown_balance
    assert balance is not None
    assert temperature_of(balance, read_colour(seen.frames[0].path).matrix) == pytest.approx((3800, 5), rel=0.01)
    assert len({frame.shown_balance for frame in seen.frames}) == 1
    light = shown_light(seen, seen.shots[0])
    assert light is not None
    assert (light.temperature_k, light.tint) == pytest.approx((3800, 5), rel=0.01)


def test_as_shot_of_a_chosen_frame_is_that_frames(project: Project, in_balance: Seen) -> None:
    seen = in_balance(as_shot_of(project.frames[2]))
    red, _, blue = Sensor().neutral
    for frame in seen.frames:
        assert frame.shown_balance == pytest.approx((1 / (red * 1.2), 1, 1 / blue), rel=1e-3)


def test_going_back_to_as_shot_shows_the_frames_as_they_were_measured(project: Project, in_balance: Seen) -> None:
    daylight = in_balance(Balance(BalanceKind.DAYLIGHT))
    back = balanced(replace(daylight, shots=project.shots))
    assert back == project


def test_daylight_is_the_cameras_own(in_balance: Seen) -> None:
    seen = in_balance(Balance(BalanceKind.DAYLIGHT))
    red, _, blue = Sensor().neutral
    assert seen.frames[3].shown_balance == pytest.approx((1 / red, 1, 1 / blue), rel=0.02)


def test_a_picked_grey_is_grey(project: Project, in_balance: Seen) -> None:
    seen = in_balance(grey_of(project.frames[0], (0.75, 0.5)))
    light = srgb_to_linear(preview.picture(seen.frames[0], 0.0)[16:48, 60:84] / 255).mean(axis=(0, 1))
    assert light / light[1] == pytest.approx(np.ones(3), rel=0.01)


def test_a_spot_without_light_is_refused_in_words(tmp_path: Path) -> None:
    sensor = Sensor()
    codes = record(np.zeros((64, 96, 3)), sensor, gain=1.0, random=np.random.default_rng(2))
    write_dng(tmp_path / "dark.dng", codes, sensor, exposure_s=8.0)
    frame = gather([tmp_path])[0].frames[0]
    with pytest.raises(FrameError, match="spot is too dark"):
        grey_of(frame, (0.5, 0.5))


def test_small_pictures_take_on_the_balance_as_sharp_ones_do(in_balance: Seen) -> None:
    """The playback picture is recoloured, the sharp one developed anew: the same colours within JPEG's coding."""
    frame = in_balance(Balance(BalanceKind.CUSTOM, temperature_k=3500, tint=-8)).frames[0]
    sharp = preview.picture(frame, 0.0).reshape(64, 96, 3)
    small = preview.small_picture(measure(frame, min_long_side=96), frame, 0.0)
    for part in (np.s_[:, 0.1:0.4], np.s_[:, 0.6:0.9]):
        means = [
            pixels[:, int(part[1].start * pixels.shape[1]) : int(part[1].stop * pixels.shape[1])].mean(axis=(0, 1))
            for pixels in (sharp, small)
        ]
        assert means[0] == pytest.approx(means[1], abs=1.5)


def test_the_project_file_keeps_the_balance(in_balance: Seen, tmp_path: Path) -> None:
    seen = in_balance(Balance(BalanceKind.CUSTOM, temperature_k=3800, tint=5))
    save_project(seen, tmp_path / "night.lapsebench")
    assert load_project(tmp_path / "night.lapsebench") == seen


@pytest.mark.parametrize("wrong", ["moonlight", "500", "4000,900", "nan"])
def test_a_balance_that_is_none_is_refused_in_words(wrong: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["survey", str(tmp_path), "--balance", wrong])
    assert stop.value.code == 2
    assert wrong in capsys.readouterr().err


def test_the_command_lines_film_is_balanced_and_its_light_the_same(project: Project, tmp_path: Path) -> None:
    folder = project.frames[0].path.parent
    colours, gains = [], []
    for balance in ("3000", "8000"):
        film, report = tmp_path / f"{balance}.mp4", tmp_path / f"{balance}.json"
        told = ["film", str(folder), "-o", str(film), "--balance", balance, "--quality", "100", "--report", str(report)]
        assert main(told) == 0
        gains.append([frame["gain_ev"] for frame in json.loads(report.read_text())["frames"]])
        red, _, blue = first_frame(film).mean(axis=(0, 1))
        colours.append(red / blue)
    assert gains[0] == gains[1]
    assert colours[0] < 0.8 * colours[1]


def first_frame(film: Path) -> np.ndarray:
    """Return the first frame of a film, (h, w, 3)."""
    with av.open(str(film)) as container:
        frame = next(container.decode(video=0))
        return np.asarray(frame.to_ndarray(format="rgb24"), float)
