"""The white balance of RAW shots: the one they are measured with, and the one that the user wants to see.

A camera multiplies every channel of every tile alike, whatever balance they are seen in: light is measured once, in the
balance that a shot was taken with, and another one changes only what is shown and filmed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.balance import (
    Balance,
    BalanceKind,
    Matrix,
    Multipliers,
    grey_multipliers,
    recolouring,
    temperature_of,
)
from lapsebench.core.mosaic import development
from lapsebench.core.project import Project
from lapsebench.core.sequence import Frame, Shot
from lapsebench.errors import FrameError
from lapsebench.imaging.develop import half_size
from lapsebench.imaging.recolour import recoloured
from lapsebench.io.kinds import is_raw
from lapsebench.io.raw import RawColour, read_colour, read_raw

_SPOT = 0.01
"""Side of the square that is picked as grey, of the picture's longer side."""


def set_measured_balance(frames: list[Frame], members: range) -> None:
    """Set the balance that a shot's RAW `frames` are measured with, in place: as shot of its first readable one."""
    raw = [i for i in members if is_raw(frames[i].path)]
    for i in raw:
        try:
            colour = _colour(frames[i].path)
        except FrameError:
            continue
        balance = Balance(multipliers=colour.as_shot).for_camera(colour.matrix, colour.daylight)
        for k in raw:
            frames[k] = replace(frames[k], balance=balance)
        return


def balanced(project: Project) -> Project:
    """Return the project whose RAW frames are shown in the balances of their shots, as the camera sees those lights."""
    changed = dict[int, Multipliers | None]()
    for shot in project.shots:
        raw = [i for i in shot.frames if project.frames[i].balance is not None]
        wanted = _wanted(project, shot, raw)
        changed |= {i: wanted for i in raw if project.frames[i].shown_balance != wanted}
    if not changed:
        return project
    frames = list(project.frames)
    for i, wanted in changed.items():
        frames[i] = replace(frames[i], shown_balance=wanted)
    return replace(project, frames=tuple(frames))


def as_shot_of(frame: Frame) -> Balance:
    """Return the balance that a RAW frame was shot with. Raises FrameError as `read_colour` does."""
    colour = _colour(frame.path)
    multipliers = colour.as_shot or Balance(BalanceKind.DAYLIGHT).for_camera(colour.matrix, colour.daylight)
    return Balance(BalanceKind.AS_SHOT, multipliers=multipliers)


def grey_of(frame: Frame, at: tuple[float, float]) -> Balance:
    """Return the balance in which the spot `at`, shares 0..1 of a RAW frame's width and height, is grey.

    Raises FrameError where the frame can't be read or the spot is too dark, too coloured or clipped.
    """
    raw = read_raw(frame.path)
    shown = frame.shown_balance or frame.balance or Balance().for_camera(raw.matrix, raw.daylight)
    shot = development(raw, shown)
    light, clipped = half_size(raw, shot)
    height, width = light.shape[:2]
    half = max(1, round(_SPOT / 2 * max(height, width)))
    row, col = (min(int(share * side), side - 1) for share, side in zip(at[::-1], (height, width), strict=True))
    spot = np.s_[max(row - half, 0) : row + half + 1, max(col - half, 0) : col + half + 1]
    if clipped[spot].any():
        raise FrameError("That spot is too bright to be told grey: it is clipped.", "Pick a darker one.")
    try:
        multipliers = grey_multipliers(shown, shot.matrix, light[spot].mean(axis=(0, 1)))
    except ValueError as error:
        raise FrameError("That spot is too dark or too strongly coloured to be grey.", "Pick another one.") from error
    return Balance(BalanceKind.GREY, multipliers=multipliers)


@dataclass(frozen=True, slots=True)
class ShownLight:
    """The light that a shot is balanced for: its temperature, K, and tint; see `core.balance`."""

    temperature_k: float
    tint: float


def shown_light(project: Project, shot: Shot) -> ShownLight | None:
    """Return the light that a shot is shown balanced for; None where it has no readable RAW."""
    for i in shot.frames:
        frame = project.frames[i]
        multipliers = frame.shown_balance or frame.balance
        if multipliers is not None:
            matrix = _matrix(frame.path)
            return None if matrix is None else ShownLight(*temperature_of(multipliers, matrix))
    return None


def shown_codes(codes: NDArray[np.uint8], frame: Frame) -> NDArray[np.uint8]:
    """Return sRGB `codes` (..., 3) of what `frame` was measured with, in the balance that it is shown in."""
    made, wanted = frame.balance, frame.shown_balance
    if made is None or wanted is None or made == wanted:
        return codes
    matrix = _matrix(frame.path)
    return codes if matrix is None else recoloured(codes, recolouring(matrix, made, wanted))


def _wanted(project: Project, shot: Shot, raw: list[int]) -> Multipliers | None:
    """Return the multipliers that a shot's RAW frames are to be shown with, None for those they are measured with."""
    balance = shot.balance
    if not raw or (balance.kind is BalanceKind.AS_SHOT and balance.multipliers is None):
        return None
    for i in raw:
        try:
            colour = _colour(project.frames[i].path)
        except FrameError:
            continue
        return balance.for_camera(colour.matrix, colour.daylight)
    return None


def _matrix(path: Path) -> Matrix | None:
    try:
        return _colour(path).matrix
    except FrameError:
        return None


def _colour(path: Path) -> RawColour:
    """Return what `read_colour` does, once a file as it is on the disk."""
    try:
        kept = path.stat()
    except OSError:
        return read_colour(path)  # which says why
    return _colour_of(path, kept.st_mtime_ns, kept.st_size)


@lru_cache(maxsize=64)
def _colour_of(path: Path, _changed_ns: int, _size: int) -> RawColour:
    return read_colour(path)
