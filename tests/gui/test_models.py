"""The list models, checked by pytest-qt's model tester while their project changes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from pytestqt.modeltest import ModelTester

from lapsebench.gui.window import MainWindow


@pytest.fixture
def check(qtmodeltester: ModelTester) -> Callable[[Any], None]:
    """Return the tester's check, whose types pytest-qt leaves out."""
    run: Callable[[Any], None] = getattr(qtmodeltester, "check")  # noqa: B009
    return run


def test_shots(surveyed: MainWindow, check: Callable[[Any], None]) -> None:
    check(surveyed.bench.shots.model)
    surveyed.session.toggle_frame(2)
    surveyed.menus.actions["undo"].trigger()


def test_faults(surveyed: MainWindow, check: Callable[[Any], None]) -> None:
    surveyed.session.toggle_frame(2)
    check(surveyed.bench.frames.model)
    surveyed.session.toggle_frame(4)
    surveyed.session.toggle_frame(2)
