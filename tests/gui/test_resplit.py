"""A survey that finds the camera aimed anew splits the shots; what the user set meanwhile, and undo, stay."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lapsebench.core.shots import MOVED, split_shot
from lapsebench.gui.commands import trim_shot
from lapsebench.gui.session import Session
from lapsebench.gui.window import MainWindow
from lapsebench.services.survey import Survey

WHOLE = [(0, 6, 0, 6), (7, 11, 7, 11)]
TRIMMED = [(0, 6, 2, 6), (7, 11, 7, 9)]


@pytest.fixture
def split_survey(surveyed: MainWindow) -> Survey:
    """Return a survey of the open night that found the camera moved before frame 7."""
    survey = surveyed.session.survey
    assert survey is not None
    shots = split_shot(survey.project.shots[0], [7], MOVED)
    return replace(survey, project=replace(survey.project, shots=shots), responses=2 * survey.responses)


def shots(session: Session) -> list[tuple[int, int, int, int]]:
    """Return first, last, in and out of every shot."""
    return [(shot.first, shot.last, shot.trim_in, shot.trim_out) for shot in session.project.shots]


def test_trims_and_undo_steps_stay(surveyed: MainWindow, split_survey: Survey) -> None:
    session = surveyed.session
    session.edit("trim", trim_shot(0, 2, 9))
    session.finish_survey(split_survey)
    assert shots(session) == TRIMMED
    assert session.project.shots[1].why == MOVED
    assert session.undo_stack.count() == 1
    assert surveyed.keeper.unsaved
    session.undo_stack.undo()
    assert shots(session) == WHOLE
    session.undo_stack.redo()
    assert shots(session) == TRIMMED
    session.edit("trim", trim_shot(1, 8, 9))
    session.undo_stack.undo()
    session.undo_stack.undo()
    assert shots(session) == WHOLE


def test_the_shot_under_the_playhead_is_shown_anew(surveyed: MainWindow, split_survey: Survey) -> None:
    session, told = surveyed.session, list[int]()
    session.move_to(9)
    session.shot_changed.connect(lambda: told.append(session.shot_index))
    session.finish_survey(split_survey)
    assert told == [1]
    assert surveyed.bench.strip.canvas.model is not None
    assert surveyed.bench.strip.canvas.model.first == 7
    assert surveyed.bench.shots.view.currentIndex().row() == 1
    session.finish_survey(split_survey)
    assert told == [1], "the shots are the same"


def test_another_night_is_not_split_there(surveyed: MainWindow, split_survey: Survey) -> None:
    session = surveyed.session
    before = session.project
    session.finish_survey(split_survey)
    session.open(before, ())
    session.edit("trim", trim_shot(0, 2, 9))
    assert shots(session) == [(0, 11, 2, 9)]


def test_a_drag_that_the_split_ends_does_not_swallow_the_next(surveyed: MainWindow, split_survey: Survey) -> None:
    session, strip = surveyed.session, surveyed.bench.strip
    strip.trim_changed.emit(0, 9, False)
    session.finish_survey(split_survey)
    strip.trim_changed.emit(1, 6, False)
    strip.trim_changed.emit(2, 6, True)
    assert session.undo_stack.count() == 2
