"""What the night strip shows: the arrays and marks of one shot, counted from its first frame."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from enum import Enum, auto

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QCoreApplication

from lapsebench.core.bodies import by_clocks
from lapsebench.core.filmlight import FilmLight, Peg
from lapsebench.core.metering import FrameMeasure
from lapsebench.core.project import Project
from lapsebench.core.separation import Light
from lapsebench.core.sequence import Fault, Frame, Shot, change_parts

Floats = NDArray[np.float64]


class Curve(Enum):
    """What can be shown and hidden in the light plot."""

    LUMINANCE = auto()
    EXPOSURE = auto()
    SCENE = auto()
    FILM = auto()
    BAND = auto()
    CHANGES = auto()
    FAULTS = auto()


@dataclass(frozen=True, slots=True)
class SettingChange:
    """A frame (counted from the first of the shot) whose setting differs from the one before, and words for what changed."""

    index: int
    text: str


def setting_changes(frames: Sequence[Frame]) -> tuple[SettingChange, ...]:
    """Return the setting changes of `frames`; each value is compared with the last known one."""
    found: list[SettingChange] = []
    known = frames[0] if frames else None
    for index, frame in enumerate(frames):
        if known is None or frame.setting == known.setting:
            continue
        parts = change_parts(known, frame, "→")
        if parts:
            found.append(SettingChange(index, ", ".join(parts)))
        known = replace(
            known,
            exposure_s=frame.exposure_s or known.exposure_s,
            f_number=frame.f_number or known.f_number,
            iso=frame.iso or known.iso,
        )
    return tuple(found)


def with_steps(changes: Sequence[SettingChange], steps: Sequence[int]) -> tuple[SettingChange, ...]:
    """Return `changes` and the places `steps` where the pictures alone show one, in order; no place stands twice."""
    told = {change.index for change in changes}
    words = QCoreApplication.translate("StripModel", "step in the pictures")
    found = (SettingChange(index, words) for index in steps if index not in told)
    return tuple(sorted([*changes, *found], key=lambda change: change.index))


def _middle(values: Floats) -> float | None:
    """Return half-way between the least and the greatest finite value, None where there is none."""
    finite = values[np.isfinite(values)]
    return float(finite.min() + finite.max()) / 2 if finite.size else None


def _exposures(frames: Sequence[Frame]) -> Floats:
    """Return the camera exposure of each frame; the few settings of a night are worked out once each."""
    examples = {frame.setting: frame for frame in frames}
    known = {setting: frame.exposure_ev for setting, frame in examples.items()}
    values = (known[frame.setting] for frame in frames)
    return np.array([np.nan if value is None else value for value in values], float)


class StripModel:
    """One shot as the strip draws it. Arrays have one entry a frame of the shot, stops, NaN where unknown.

    `film_seen` is the film light as drawn, `error` the standard error of the exposure and so of scene and film light.
    `exposure_shift` and `scene_shift` are the stops added to bring these curves into view beside the luminance; the first is
    whole, so that one grid serves both scales.
    """

    def __init__(self, project: Project, shot: Shot) -> None:
        self.shot = shot
        self.frames: tuple[Frame, ...] = by_clocks(project.frames[shot.first : shot.last + 1], project.clocks)
        count = len(self.frames)
        self.luminance: Floats = np.full(count, np.nan)
        self.exposure: Floats = _exposures(self.frames)
        self.scene: Floats = np.full(count, np.nan)
        self.film: Floats = np.full(count, np.nan)
        self.film_seen: Floats = np.full(count, np.nan)
        self.gain: Floats = np.full(count, np.nan)
        self.error: Floats = np.full(count, np.nan)
        self.used: NDArray[np.bool_] = np.array([project.keeps(frame) for frame in shot.frames], bool)
        self.pegs: tuple[Peg, ...] = ()
        self.trim = (shot.trim_in, shot.trim_out)
        self.playhead = shot.trim_in
        self.exposure_shift = 0.0
        self.scene_shift = 0.0
        self.changes = setting_changes(self.frames)
        self.faults: tuple[tuple[int, tuple[Fault, ...]], ...] = tuple(
            (i, tuple(sorted(f.faults, key=list(Fault).index))) for i, f in enumerate(self.frames) if f.faults
        )
        self.set_pegs(project.light.pegs)

    @property
    def count(self) -> int:
        """Frames in the shot."""
        return len(self.frames)

    @property
    def first(self) -> int:
        """Project number of the first frame of the shot."""
        return self.shot.first

    def index(self, frame: int) -> int | None:
        """Return the place in the shot of a project frame number; None outside the shot."""
        index = frame - self.first
        return index if 0 <= index < self.count else None

    def same_frames(self, other: StripModel) -> bool:
        """Whether both show the same files at the same numbers."""
        return self.first == other.first and [f.path for f in self.frames] == [f.path for f in other.frames]

    def set_measure(self, index: int, measure: FrameMeasure) -> None:
        """Take the frame luminance from a measured frame."""
        self.luminance[index] = measure.luminance_ev

    def set_light(self, light: Light, film: FilmLight, used: Collection[int]) -> None:
        """Take the shot's part of the light of all project frames; `used` are project frame numbers."""
        part = slice(self.first, self.first + self.count)
        self.luminance = np.array(light.luminance_ev[part], float)
        self.exposure = np.array(light.exposure_ev[part], float)
        self.scene = np.array(light.scene_ev[part], float)
        self.error = np.array(light.error_ev[part], float)
        self.changes = with_steps(setting_changes(self.frames), np.flatnonzero(light.setting_change[part]).tolist())
        chosen = used if isinstance(used, (set, frozenset)) else frozenset(used)
        self.used = np.array([self.first + i in chosen for i in range(self.count)], bool)
        self.set_film(film)
        self.align()

    def set_film(self, film: FilmLight) -> None:
        """Take the shot's part of the film light of all project frames."""
        part = slice(self.first, self.first + self.count)
        self.film = np.asarray(film.film_ev, float)[part]
        self.gain = np.asarray(film.gain_ev, float)[part]
        self.film_seen = self._bridged()

    def _bridged(self) -> Floats:
        """Return the film light with frames that are left out bridged by a straight line: the film does not show them."""
        known = np.isfinite(self.film)
        held, out = known & self.used, known & ~self.used
        if not held.any() or not out.any():
            return self.film
        places = np.arange(self.count)
        seen = self.film.copy()
        seen[out] = np.interp(places[out], places[held], self.film[held], left=np.nan, right=np.nan)
        return seen

    def set_pegs(self, pegs: Sequence[Peg]) -> None:
        """Take the pegs that lie within the shot."""
        self.pegs = tuple(peg for peg in pegs if self.index(peg.frame) is not None)

    def align(self) -> None:
        """Work out how far camera exposure and scene light are shifted to stand beside the luminance."""
        luminance = np.where(self.used, self.luminance, np.nan)
        here = _middle(luminance)
        for name, values in (("exposure_shift", self.exposure), ("scene_shift", np.where(self.used, self.scene, np.nan))):
            there = _middle(values)
            shift = 0.0 if here is None or there is None else here - there
            setattr(self, name, float(round(shift)) if name == "exposure_shift" else shift)

    def wanted_range(self, start: int, stop: int, hidden: Collection[Curve]) -> tuple[float, float]:
        """Return the least and greatest stop to be seen between two places, over the shown curves and the pegs.

        Left-out frames do not count: a black or blown frame must not flatten all others.
        """
        used = self.used[start:stop]
        curves = {
            Curve.LUMINANCE: self.luminance[start:stop][used],
            Curve.FILM: self.film_seen[start:stop][used],
            Curve.SCENE: self.scene[start:stop][used] + self.scene_shift,
            Curve.EXPOSURE: self.exposure[start:stop] + self.exposure_shift,
        }
        if not np.isfinite(self.luminance).any():
            hidden = {*hidden, *(() if np.isfinite(self.exposure).any() else (Curve.EXPOSURE,))}
        values = np.concatenate([v for curve, v in curves.items() if curve not in hidden] or [np.empty(0)])
        held = [p.film_ev for p in self.pegs if start <= p.frame - self.first < stop]
        values = np.concatenate([values[np.isfinite(values)], np.array(held, float)])
        return (float(values.min()), float(values.max())) if values.size else (-10.0, -2.0)
