"""Edits: plain functions from one project to the next, and the undo step that carries one."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from functools import reduce
from typing import Any

from PySide6.QtGui import QUndoCommand

from lapsebench.core.area import MeteringArea
from lapsebench.core.bodies import Body, with_offset
from lapsebench.core.filmlight import Peg
from lapsebench.core.project import Project
from lapsebench.core.sequence import SPOILT
from lapsebench.core.view import View

Edit = Callable[[Project], Project]
"""An edit."""

MergeKey = tuple[str, int]
"""What is edited and in which gesture: two steps with the same key become one."""


class EditCommand(QUndoCommand):
    """One undo step: the project before, the project after, and the key under which steps melt together."""

    def __init__(
        self, text: str, old: Project, new: Project, apply: Callable[[Project], None], key: MergeKey | None = None
    ) -> None:
        super().__init__(text)
        self._old, self._new, self._apply, self._key = old, new, apply, key

    def id(self) -> int:
        """Return one number for all steps that may merge, -1 for those that never do."""
        return -1 if self._key is None else 1

    def mergeWith(self, other: QUndoCommand, /) -> bool:
        """Take over what a later step of the same gesture did."""
        if not isinstance(other, EditCommand) or other._key != self._key:
            return False
        self._new = other._new
        self.setObsolete(self._new == self._old)
        return True

    def redo(self) -> None:
        """Go to the project after the edit."""
        self._apply(self._new)

    def undo(self) -> None:
        """Go back to the project before the edit."""
        self._apply(self._old)


def change_light(**changes: Any) -> Edit:
    """Return the edit that sets fields of the light settings."""
    return lambda project: replace(project, light=replace(project.light, **changes))


def change_film(**changes: Any) -> Edit:
    """Return the edit that sets fields of the film settings."""
    return lambda project: replace(project, film=replace(project.film, **changes))


def change_shot(index: int, **changes: Any) -> Edit:
    """Return the edit that sets fields of one shot."""

    def edit(project: Project) -> Project:
        shots = list(project.shots)
        shots[index] = replace(shots[index], **changes)
        return replace(project, shots=tuple(shots))

    return edit


def change_clocks(offsets: Mapping[Body, float]) -> Edit:
    """Return the edit that sets what is added to the times of camera bodies, seconds."""

    def edit(project: Project) -> Project:
        clocks = project.clocks
        for body, seconds in offsets.items():
            clocks = with_offset(clocks, body, seconds)
        return replace(project, clocks=clocks)

    return edit


def frame_all_alike(view: View) -> Edit:
    """Return the edit that shows the same part of all shots."""
    return lambda project: replace(project, shots=tuple(replace(shot, view=view) for shot in project.shots))


def change_area(index: int, area: MeteringArea) -> Edit:
    """Return the edit that measures a shot by another area."""
    return change_shot(index, area=area)


def trim_shot(index: int, first: int, last: int) -> Edit:
    """Return the edit that sets the in and out points, kept in order and within the shot."""

    def edit(project: Project) -> Project:
        shot = project.shots[index]
        start = min(max(first, shot.first), shot.last)
        end = min(max(last, start), shot.last)
        return change_shot(index, trim_in=start, trim_out=end)(project)

    return edit


def place_peg(frame: int, film_ev: float) -> Edit:
    """Return the edit that sets the film light of a frame by hand, in place of a peg already there."""

    def edit(project: Project) -> Project:
        others = [peg for peg in project.light.pegs if peg.frame != frame]
        pegs = sorted([*others, Peg(frame, film_ev)], key=lambda peg: peg.frame)
        return change_light(pegs=tuple(pegs))(project)

    return edit


def remove_peg(frame: int) -> Edit:
    """Return the edit that takes a peg away."""
    return lambda project: change_light(pegs=tuple(peg for peg in project.light.pegs if peg.frame != frame))(project)


def toggle_frames(frames: Iterable[int]) -> Edit:
    """Return the edit that toggles each of several frames, see `toggle_frame`."""
    each = tuple(map(toggle_frame, frames))
    return lambda project: reduce(lambda so_far, edit: edit(so_far), each, project)


def toggle_frame(frame: int) -> Edit:
    """Return the edit that takes a frame in or leaves it out; an unreadable one stays out."""

    def edit(project: Project) -> Project:
        spoilt = bool(project.frames[frame].faults & SPOILT)
        just = frozenset({frame})
        if project.keeps(frame):
            left_out = project.left_out if spoilt else project.left_out | just
            return replace(project, taken_in=project.taken_in - just, left_out=left_out)
        if not project.frames[frame].readable:
            return project
        taken_in = project.taken_in | just if spoilt else project.taken_in
        return replace(project, taken_in=taken_in, left_out=project.left_out - just)

    return edit
