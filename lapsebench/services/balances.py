"""Another white balance for a shot of RAW stills."""

from __future__ import annotations

from dataclasses import replace

from lapsebench.core.balance import Balance, BalanceKind
from lapsebench.core.project import Project
from lapsebench.core.sequence import Shot
from lapsebench.io.raw import read_colour


def with_shot_balance(project: Project, shot: Shot, balance: Balance, frame: int | None = None) -> Project:
    """Return a project whose RAW frames of a shot all have `balance`, as the camera of `frame` (else of the first) sees it.

    "As shot" is what that frame was shot with. A shot without RAW stays as it is. Raises FrameError as `read_colour` does.
    """
    raw = [i for i in shot.frames if project.frames[i].balance is not None]
    if not raw:
        return project
    colour = read_colour(project.frames[raw[0] if frame is None else frame].path)
    if balance.kind is BalanceKind.AS_SHOT:
        balance = replace(balance, multipliers=colour.as_shot)
    multipliers = balance.for_camera(colour.matrix, colour.daylight)
    frames = list(project.frames)
    for i in raw:
        frames[i] = replace(frames[i], balance=multipliers)
    return replace(project, frames=tuple(frames))
