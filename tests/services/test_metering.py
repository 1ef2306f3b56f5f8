"""The metering area in a survey: what is measured within it, what it falls back to, and working it out again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lapsebench.core.area import AreaKind, MeteringArea, coverage
from lapsebench.core.project import Project
from lapsebench.core.shots import MOVED, split_shot
from lapsebench.core.transfer import luminance
from lapsebench.errors import Cancelled
from lapsebench.services import survey as surveying
from lapsebench.services.metering import metered_by
from lapsebench.services.shotlight import light_of_shot
from lapsebench.services.survey import Survey, needs_resplit, resplit

KINDS = [kind for kind in AreaKind if kind is not AreaKind.WHOLE]


def area_of(kind: AreaKind) -> MeteringArea:
    return MeteringArea(kind, (0.2, 0.1, 0.5, 0.4))


@pytest.fixture(autouse=True)
def no_file_is_read(monkeypatch: pytest.MonkeyPatch, demo_survey: Survey) -> None:  # noqa: ARG001
    monkeypatch.setattr(surveying, "_measure", lambda *_: pytest.fail("a file was measured again"))


def with_area(known: Survey, area: MeteringArea) -> Project:
    return metered_by(known.project, area)


@pytest.mark.parametrize("kind", KINDS)
def test_the_light_is_that_within_the_area_and_the_steps_are_gone(demo_survey: Survey, kind: AreaKind) -> None:
    found = resplit(demo_survey, with_area(demo_survey, area_of(kind)))
    used = found.shot_lights[0].metering.used
    assert used.kind is kind
    mask = coverage(used, *demo_survey.measures[0].tiles.shape[:2]).astype(float)  # type: ignore[union-attr]
    for i in (0, 30, 70, 119):
        measure = demo_survey.measures[i]
        assert measure is not None
        wanted = np.log2((luminance(measure.tiles) * mask).sum() / mask.sum())
        assert found.light.luminance_ev[i] == pytest.approx(wanted, abs=1e-3)
    good = np.array([found.project.keeps(i) for i in range(len(found.project.frames))])
    exact = demo_survey.light.received_ev
    off = (found.light.received_ev - exact)[good]
    off -= np.median(off)
    print(f"{kind}: exposure received against that of the whole picture, rms {np.sqrt(np.mean(off**2)):.3f} stop")
    before, after = (np.abs(np.diff(ev[good])).max() for ev in (exact, found.light.scene_ev - found.light.luminance_ev))
    assert after == pytest.approx(before, abs=0.35)
    assert np.abs(off).max() < 0.6


def test_sky_and_ground_of_the_demo_night_are_parted_by_its_hills(demo_survey: Survey) -> None:
    horizon = demo_survey.shot_lights[0].metering.horizon
    assert horizon is not None
    line = np.array(horizon.skyline)
    assert 0.62 < line.min() < 0.68, "the highest hill stands at a third of the width"
    assert 0.2 < np.argmin(line) / line.size < 0.45
    assert line.max() < 0.8, "the lake belongs to the ground"


@pytest.mark.parametrize(
    ("area", "words"),
    [
        (MeteringArea(AreaKind.GROUND, horizon=(1.0,)), "too small"),
        (MeteringArea(AreaKind.SKY, horizon=(0.0,)), "too small"),
        (MeteringArea(AreaKind.RECTANGLE, (0.3, 0.3, 0.02, 0.02)), "too small"),
    ],
)
def test_an_area_too_small_is_said_and_the_whole_picture_taken(demo_survey: Survey, area: MeteringArea, words: str) -> None:
    found = resplit(demo_survey, with_area(demo_survey, area))
    assert any(words in note for note in found.notes)
    metering = found.shot_lights[0].metering
    assert metering.used.kind is AreaKind.WHOLE
    assert words in metering.problem
    np.testing.assert_allclose(found.light.luminance_ev, demo_survey.light.luminance_ev)
    np.testing.assert_allclose(found.light.received_ev, demo_survey.light.received_ev, atol=1e-6)


def test_back_to_the_whole_picture_is_what_was_before(demo_survey: Survey) -> None:
    there = resplit(demo_survey, with_area(demo_survey, area_of(AreaKind.SKY)))
    back = resplit(there, with_area(there, MeteringArea()))
    assert back.project == demo_survey.project
    assert back.notes == demo_survey.notes
    received = demo_survey.light.received_ev
    np.testing.assert_allclose(back.light.received_ev, received, atol=1e-3)  # the stars' solve began elsewhere


def test_only_the_shot_whose_area_changed_is_worked_out(demo_survey: Survey, monkeypatch: pytest.MonkeyPatch) -> None:
    shots = split_shot(demo_survey.project.shots[0], [70], MOVED)
    known = resplit(demo_survey, replace(demo_survey.project, shots=shots))
    asked = []

    def counted(shot: object, *rest: object, **more: object) -> object:
        asked.append(shot)
        return light_of_shot(shot, *rest, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(surveying, "light_of_shot", counted)
    second = replace(shots[1], area=area_of(AreaKind.RECTANGLE))
    found = resplit(known, replace(known.project, shots=(shots[0], second)))
    assert asked == [second]
    assert found.shot_lights[0] is known.shot_lights[0]
    np.testing.assert_array_equal(found.light.received_ev[:70], known.light.received_ev[:70])


def test_needs_are_told_by_what_counts_alone(demo_survey: Survey) -> None:
    project = demo_survey.project
    assert not needs_resplit(demo_survey, project)
    assert not needs_resplit(demo_survey, with_area(demo_survey, MeteringArea(AreaKind.WHOLE, (0.1, 0.1, 0.2, 0.2))))
    assert not needs_resplit(demo_survey, replace(project, shots=(replace(project.shots[0], trim_in=3),)))
    assert needs_resplit(demo_survey, with_area(demo_survey, area_of(AreaKind.SKY)))
    drawn = resplit(demo_survey, with_area(demo_survey, area_of(AreaKind.SKY)))
    assert needs_resplit(drawn, with_area(drawn, MeteringArea(AreaKind.SKY, horizon=(0.5,))))


def test_it_can_be_cancelled(demo_survey: Survey) -> None:
    def stop(done: int, total: int) -> None:  # noqa: ARG001
        raise Cancelled

    with pytest.raises(Cancelled):
        resplit(demo_survey, with_area(demo_survey, area_of(AreaKind.SKY)), tick=stop)
