"""The survey of the demo night against its truth: steps and flicker found, faults found, the break-up kept."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from lapsebench.core.filmlight import LightSettings
from lapsebench.core.metering import FrameMeasure
from lapsebench.core.sequence import MEASURED, Fault
from lapsebench.errors import Cancelled
from lapsebench.services.shotlight import light_of_shot
from lapsebench.services.starfiles import StarFiles
from lapsebench.services.survey import Survey, gather, level, survey, used_frames

Floats = NDArray[np.float64]


@pytest.fixture(scope="module")
def truth(demo: Path) -> list[dict[str, Any]]:
    entries: list[dict[str, Any]] = json.loads((demo / "truth.json").read_text())["frames"]
    return entries


def column(truth: list[dict[str, Any]], name: str) -> Floats:
    return np.array([entry[name] for entry in truth], dtype=float)


def test_faults_of_the_demo_are_found_and_no_others(demo_survey: Survey, truth: list[dict[str, Any]]) -> None:
    faults = [frame.faults - {Fault.UNCERTAIN} for frame in demo_survey.project.frames]
    found = {frame.path.name: sorted(own) for frame, own in zip(demo_survey.project.frames, faults, strict=True) if own}
    assert found == {entry["file"]: sorted(entry["faults"]) for entry in truth if entry["faults"]}
    assert len(used_frames(demo_survey.project)) == len(truth) - 3


def test_steps_at_setting_changes_are_gone(demo_survey: Survey, truth: list[dict[str, Any]]) -> None:
    project = replace(demo_survey.project, light=LightSettings(sky_kept=1.0))
    used = np.array(used_frames(project))
    received = column(truth, "received_ev")[used]
    changed = np.add.reduceat(demo_survey.light.setting_change, used)[1:] > 0
    virtual = received + level(demo_survey, project).gain_ev[used]
    before, after = np.abs(np.diff(received)), np.abs(np.diff(virtual))
    print(f"largest step at setting changes: {before[changed].max():.2f} before, {after[changed].max():.3f} after")
    print(f"over all good frames: {after.max():.3f} largest, {np.diff(virtual).std():.4f} rms")
    assert before[changed].max() > 0.6
    assert after[changed].max() <= 0.065
    assert np.diff(virtual).std() < 0.025


def test_the_scene_keeps_its_break_up(demo_survey: Survey, truth: list[dict[str, Any]]) -> None:
    used = used_frames(demo_survey.project)
    scene, true = demo_survey.light.scene_ev[used], column(truth, "scene_ev")[used]
    assert np.corrcoef(scene, true)[0, 1] > 0.998
    assert np.ptp(scene) == pytest.approx(np.ptp(true), abs=0.25)


def test_the_slider_keeps_as_much_of_the_break_up_as_it_says(demo_survey: Survey) -> None:
    swings = []
    for kept in (0.0, 0.5, 1.0):
        film = level(demo_survey, replace(demo_survey.project, light=LightSettings(sky_kept=kept, ramp_s=0.5)))
        swings.append(np.ptp(film.film_ev[used_frames(demo_survey.project)]))
    assert swings[0] < swings[1] < swings[2]


def test_settings_of_the_demo_change_where_the_photographer_clicked(
    demo_survey: Survey, truth: list[dict[str, Any]]
) -> None:
    expected = [bool(entry["setting_change"]) for entry in truth]
    assert demo_survey.light.setting_change.tolist() == expected


def test_without_metadata_the_steps_are_found_all_the_same(demo_survey: Survey, truth: list[dict[str, Any]]) -> None:
    """Even the change that blown frames hide in the midst of the break-up: the stars have seen it."""
    bare = [
        replace(f, exposure_s=None, f_number=None, iso=None, faults=f.faults - MEASURED) for f in demo_survey.project.frames
    ]
    look = StarFiles(bare)
    light = light_of_shot(demo_survey.project.shots[0], bare, demo_survey.measures, look=look).light
    used = np.array(used_frames(demo_survey.project))
    off = np.diff(light.received_ev[used] - column(truth, "received_ev")[used])
    changed = np.add.reduceat(demo_survey.light.setting_change, used)[1:] > 0
    print(f"no metadata: {np.abs(off[changed]).max():.3f} largest error at setting changes, {off.std():.4f} rms")
    assert np.abs(off[changed]).max() < 0.1
    assert np.median(np.abs(off[changed])) < 0.03
    assert off.std() < 0.03


def test_measures_arrive_while_the_survey_runs_and_are_remembered(make_frames: Callable[..., Path]) -> None:
    project, _ = gather([make_frames(6)])
    seen: dict[int, FrameMeasure] = {}
    ticks: list[tuple[int, int]] = []
    done = survey(project, tick=lambda done, total: ticks.append((done, total)), measured=seen.__setitem__)
    assert sorted(seen) == list(range(6))
    assert ticks[0] == (0, 6)
    assert ticks[-1] == (6, 6)
    again = survey(project)
    for first, second in zip(done.measures, again.measures, strict=True):
        assert first is not None and second is not None
        np.testing.assert_array_equal(first.tiles, second.tiles)
        assert first.proxy == second.proxy


def test_cancel_stops_the_survey_and_its_threads(make_frames: Callable[..., Path]) -> None:
    project, _ = gather([make_frames(12)])

    def stop(done: int, total: int) -> None:  # noqa: ARG001
        if done >= 3:
            raise Cancelled

    with pytest.raises(Cancelled):
        survey(project, tick=stop)
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("measure")]


def test_a_frame_that_breaks_after_gathering_is_flagged(make_frames: Callable[..., Path]) -> None:
    folder = make_frames(8)
    project, _ = gather([folder])
    path = project.frames[3].path
    whole = path.read_bytes()
    path.write_bytes(whole[:900])
    surveyed = survey(project)
    assert Fault.UNREADABLE in surveyed.project.frames[3].faults
    assert surveyed.project.frames[3].problem
    assert 3 not in used_frames(surveyed.project)
    film = level(surveyed, surveyed.project)
    path.write_bytes(whole)
    assert survey(surveyed.project).project.frames[3].readable, "measured again, it is fine again"
    assert np.isnan(film.gain_ev[3])
    assert np.isfinite(np.delete(film.gain_ev, 3)).all()


def test_frames_are_taken_in_and_left_out_by_hand(demo_survey: Survey) -> None:
    project = demo_survey.project
    blown = next(i for i, frame in enumerate(project.frames) if Fault.BLOWN in frame.faults)
    assert blown not in used_frames(project)
    assert blown in used_frames(replace(project, taken_in=frozenset({blown})))
    assert 0 not in used_frames(replace(project, left_out=frozenset({0})))


@pytest.mark.parametrize("count", [1, 2, 3])
def test_a_handful_of_frames_is_surveyed_too(make_frames: Callable[..., Path], count: int) -> None:
    project, _ = gather([make_frames(count)])
    surveyed = survey(project)
    assert np.abs(level(surveyed, surveyed.project).gain_ev).max() < 0.01
