"""The white balance of a shot of RAW stills, chosen by the user."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from dng import Sensor, record, write_dng

from lapsebench.__main__ import main
from lapsebench.core.balance import Balance, BalanceKind, temperature_of
from lapsebench.core.project import Project
from lapsebench.io.raw import read_colour
from lapsebench.services.balances import with_shot_balance
from lapsebench.services.survey import gather

COUNT = 4


@pytest.fixture(scope="module")
def project(tmp_path_factory: pytest.TempPathFactory) -> Project:
    folder: Path = tmp_path_factory.mktemp("raw")
    sensor, random = Sensor(), np.random.default_rng(1)
    red, _, blue = sensor.neutral
    for i in range(COUNT):
        codes = record(np.full((64, 96, 3), 0.2), sensor, gain=1.0, random=random)
        write_dng(folder / f"N{i}.dng", codes, sensor, exposure_s=8.0, neutral=(red * (1 + 0.1 * i), 1.0, blue))
    return gather([folder])[0]


def test_a_custom_light_comes_back_as_it_was_set(project: Project) -> None:
    edited = with_shot_balance(project, project.shots[0], Balance(BalanceKind.CUSTOM, temperature_k=3800, tint=5))
    balance = edited.frames[0].balance
    assert balance is not None
    found = temperature_of(balance, read_colour(edited.frames[0].path).matrix)
    assert found == pytest.approx((3800, 5), rel=0.01)
    assert len({frame.balance for frame in edited.frames}) == 1


def test_as_shot_of_a_chosen_frame_is_that_frames(project: Project) -> None:
    edited = with_shot_balance(project, project.shots[0], Balance(), frame=2)
    red, _, blue = Sensor().neutral
    for frame in edited.frames:
        assert frame.balance == pytest.approx((1 / (red * 1.2), 1, 1 / blue), rel=1e-3)
    assert project.frames[0].balance != edited.frames[0].balance


def test_daylight_is_the_cameras_own(project: Project) -> None:
    edited = with_shot_balance(project, project.shots[0], Balance(BalanceKind.DAYLIGHT))
    red, _, blue = Sensor().neutral
    assert edited.frames[3].balance == pytest.approx((1 / red, 1, 1 / blue), rel=0.02)


@pytest.mark.parametrize("wrong", ["moonlight", "500", "4000,900", "nan"])
def test_a_balance_that_is_none_is_refused_in_words(wrong: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["survey", str(tmp_path), "--balance", wrong])
    assert stop.value.code == 2
    assert wrong in capsys.readouterr().err


def test_the_command_line_balances_every_raw_shot(project: Project, tmp_path: Path) -> None:
    folder = project.frames[0].path.parent
    light = []
    for balance in ("3000", "8000"):
        report = tmp_path / f"{balance}.json"
        assert main(["survey", str(folder), "--balance", balance, "--json", str(report)]) == 0
        light.append(json.loads(report.read_text())["frames"][0]["luminance_ev"])
    assert abs(light[0] - light[1]) > 0.02
