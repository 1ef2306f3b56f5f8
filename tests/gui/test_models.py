"""The list models, checked by pytest-qt's model tester while their project changes."""

from __future__ import annotations

from pytestqt.modeltest import ModelTester

from lapsebench.gui.window import MainWindow


def test_shots(surveyed: MainWindow, qtmodeltester: ModelTester) -> None:
    qtmodeltester.check(surveyed.bench.shots.model)
    surveyed.session.toggle_frame(2)
    surveyed.menus.actions["undo"].trigger()


def test_faults(surveyed: MainWindow, qtmodeltester: ModelTester) -> None:
    surveyed.session.toggle_frame(2)
    qtmodeltester.check(surveyed.bench.frames.model)
    surveyed.session.toggle_frame(4)
    surveyed.session.toggle_frame(2)
