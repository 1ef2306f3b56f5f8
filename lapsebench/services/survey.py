"""The survey of a night: gather the frames, measure them, split camera from sky, and level the light."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.area import AreaKind, Box, Skyline
from lapsebench.core.curves import CameraCurve, Responses, curve_for, kind_of
from lapsebench.core.faults import Tiles
from lapsebench.core.filmlight import FilmLight, LightSettings, film_light
from lapsebench.core.metering import FrameMeasure
from lapsebench.core.progress import Tick, silent
from lapsebench.core.project import Project
from lapsebench.core.response import any_estimated
from lapsebench.core.separation import Light
from lapsebench.core.sequence import MEASURED, Fault, Frame, Shot
from lapsebench.core.shots import find_shots, gaps
from lapsebench.errors import FrameError
from lapsebench.imaging.proxy import PROXY_LONG_SIDE
from lapsebench.io import scan
from lapsebench.io.cache import MeasureStore
from lapsebench.io.projectfile import SUFFIX, load_project
from lapsebench.services.balances import balanced, set_measured_balance
from lapsebench.services.curves import curves_of
from lapsebench.services.firstlook import first_look
from lapsebench.services.metering import told
from lapsebench.services.shotlight import ShotLight, at_moves, light_of_shot
from lapsebench.services.starfiles import StarFiles
from lapsebench.services.stills import look_of, measure
from lapsebench.services.tilelight import tiles_of

Measured = Callable[[int, FrameMeasure], None]
"""Called from a worker thread as `measured(frame number, measure)` as soon as a frame is measured."""

_WORKERS = min(4, os.cpu_count() or 1)
_READ_LONG_SIDE = PROXY_LONG_SIDE + 64


@dataclass(frozen=True, slots=True)
class Survey:
    """A surveyed project: `project` with its faults found, one measure a frame (None where unreadable), and the light.

    `responses`: per shot, the camera's response in R, G and B. `shot_lights`: what each shot's light was worked out to be.
    `colour_ev`: (n, 3) stops of R, G and B that take the camera's changes of colour out; None is none.
    """

    project: Project
    measures: tuple[FrameMeasure | None, ...]
    light: Light
    responses: tuple[Responses, ...]
    notes: tuple[str, ...]
    shot_lights: tuple[ShotLight, ...] = ()
    colour_ev: NDArray[np.float64] | None = None


def responses_at(survey: Survey) -> tuple[Responses, ...]:
    """Return for every frame the responses that its light was measured through: its gain is to be applied through them."""
    shots = zip(survey.project.shots, survey.responses, strict=True)
    return tuple(responses for shot, responses in shots for _ in shot.frames)


def gather(paths: Sequence[Path], *, tick: Tick = silent) -> tuple[Project, tuple[str, ...]]:
    """Return the project of the frames in `paths` and notes for the user. Raises `GatherError` or `ProjectFileError`.

    `paths` are folders, stills, or one project file.
    """
    if len(paths) == 1 and paths[0].suffix == SUFFIX:
        return balanced(load_project(paths[0])), ()
    gathered = scan.gather(paths, tick=tick)
    frames = list(gathered.frames)
    for i in gaps(frames):
        frames[i] = _with_fault(frames[i], Fault.GAP)
    shots = find_shots(frames)
    for shot in shots:
        set_measured_balance(frames, shot.frames)
    return Project(sources=tuple(paths), frames=tuple(frames), shots=shots), gathered.notes


def survey(project: Project, *, tick: Tick = silent, measured: Measured | None = None) -> Survey:
    """Measure every frame of the project and split its light; frames that could not be read before are tried again.

    Where anybody looks on, `measured` gets rough measures from embedded pictures first, then all of them anew.

    Raises `Cancelled` through `tick`.
    """
    count = len(project.frames)
    last = project.frames[-1] if project.frames else None
    if measured is not None and last is not None and not MeasureStore().has(last.path, look_of(last)):
        first_look(project.frames, measured, tick)
    measures, problems = _measure_all(project.frames, tick, measured)
    frames = [_measured_anew(frame, problems.get(i)) for i, frame in enumerate(project.frames)]
    project = replace(project, curves=curves_of(project.curves, project.shots, frames, measures))
    shots: list[Shot] = []
    lights: list[ShotLight] = []
    for shot in project.shots:
        tick(count, count)
        tiles = tiles_of(shot, measures)
        for part in at_moves(shot, frames, measures, tiles=tiles):
            tick(count, count)
            own = tiles.part(part.first - shot.first, part.last - shot.first)
            shots.append(part)
            lights.append(_light(part, frames, measures, _responses(project, shot), tick, tiles=own))
    tick(count, count)
    project = replace(project, curves=_straightened(project.curves, shots, frames, lights))
    return _survey(project, frames, shots, measures, lights)


def resplit(known: Survey, project: Project, *, tick: Tick = silent) -> Survey:
    """Return the survey with the light of those shots worked out again whose metering area is another one in `project`.

    Nothing is measured again; stars are asked anew where the tiles are not sure. Raises `Cancelled` through `tick`.
    """
    kept = {}
    project = replace(project, curves=known.project.curves)
    if len(known.shot_lights) == len(known.project.shots) and known.project.use_curve == project.use_curve:
        kept = {_light_key(shot): light for shot, light in zip(known.project.shots, known.shot_lights, strict=True)}
    frames = [_as_gathered(frame) for frame in known.project.frames]
    lights: list[ShotLight] = []
    for shot in project.shots:
        tick(shot.first, len(frames))
        own = _responses(project, shot)
        lights.append(kept.get(_light_key(shot)) or _light(shot, frames, known.measures, own, tick))
    tick(len(frames), len(frames))
    return _survey(project, frames, project.shots, known.measures, lights)


def needs_resplit(known: Survey, project: Project) -> bool:
    """Whether a shot of the project is to be measured by another area or curve than its light was worked out by."""
    if known.project.use_curve != project.use_curve and any(curve.estimated for curve in known.project.curves):
        return True
    return [_light_key(shot) for shot in known.project.shots] != [_light_key(shot) for shot in project.shots]


def _light(
    shot: Shot,
    frames: Sequence[Frame],
    measures: Sequence[FrameMeasure | None],
    responses: Responses,
    tick: Tick,
    *,
    tiles: Tiles | None = None,
) -> ShotLight:
    """Return the light of a shot, the stars of its files asked where need be; `tick` reports those beyond all frames."""
    count = len(frames)

    def on(done: int, total: int) -> None:
        tick(count + done, count + total)

    look = StarFiles(frames)
    return light_of_shot(shot, frames, measures, responses=responses, tiles=tiles, look=look, tick=on)


def _responses(project: Project, shot: Shot) -> Responses:
    return curve_for(project.curves, project.frames[shot.first], use=project.use_curve)


def _straightened(
    curves: Sequence[CameraCurve], shots: Sequence[Shot], frames: Sequence[Frame], lights: Sequence[ShotLight]
) -> tuple[CameraCurve, ...]:
    """Return the curves as the stars of the longest shot of each kind straightened them."""
    longest = {kind_of(frames[shot.first]): light for shot, light in sorted(zip(shots, lights, strict=True), key=_length)}
    known = {curve.kind: curve.responses for curve in curves}
    told = {kind: light.responses for kind, light in longest.items() if any_estimated(light.responses)}
    return tuple(replace(curve, responses=(known | told)[curve.kind]) for curve in curves)


def _length(part: tuple[Shot, ShotLight]) -> int:
    return len(part[0].frames)


def _light_key(shot: Shot) -> tuple[int, int, AreaKind, Box | None, Skyline | None]:
    """Return all of a shot that its light depends on."""
    area = shot.area
    return shot.first, shot.last, area.kind, area.box if area.by_box else None, area.horizon if area.by_horizon else None


def _survey(
    project: Project,
    gathered: Sequence[Frame],
    shots: Sequence[Shot],
    measures: Sequence[FrameMeasure | None],
    lights: Sequence[ShotLight],
) -> Survey:
    """Return the survey of frames as they were gathered, with the faults that their light told."""
    frames, notes = list(gathered), [note for shot_light in lights for note in shot_light.notes]
    for shot_light in lights:
        for i, found in shot_light.faults.items():
            frames[i] = replace(frames[i], faults=frames[i].faults | found)
    notes += told([shot_light.metering for shot_light in lights])
    surveyed = replace(project, frames=tuple(frames), shots=tuple(shots))
    responses = tuple(shot_light.responses for shot_light in lights)
    colour_ev = np.concatenate([shot_light.colour_ev for shot_light in lights]) if lights else None
    return Survey(surveyed, tuple(measures), _joined(lights), responses, tuple(notes), tuple(lights), colour_ev)


def level(survey: Survey, project: Project) -> FilmLight:
    """Return the film light of all frames under the project's settings; milliseconds for thousands of frames."""
    fps = float(project.film.fps)
    parts = []
    for shot in project.shots:
        part = slice(shot.first, shot.last + 1)
        light = Light(*(getattr(survey.light, name)[part] for name in Light.__slots__))
        good = np.array([project.keeps(i) for i in shot.frames])
        parts.append(film_light(light, _settings_of(project.light, shot), fps=fps, good=good))
    film_ev, gain_ev, virtual_ev = (
        np.concatenate([getattr(part, name) for part in parts]) for name in ("film_ev", "gain_ev", "virtual_ev")
    )
    colour_ev = survey.colour_ev if project.light.even and project.light.colour else None
    return FilmLight(film_ev, gain_ev, virtual_ev, colour_ev)


def used_frames(project: Project) -> list[int]:
    """Return the frames that go into the film: within the trims, readable, not spoilt or taken in by hand, not left out."""
    trimmed = (i for shot in project.shots if shot.in_film for i in shot.trimmed)
    return [i for i in trimmed if project.keeps(i)]


def _settings_of(settings: LightSettings, shot: Shot) -> LightSettings:
    """Return the settings with pegs numbered within the shot."""
    pegs = tuple(replace(peg, frame=peg.frame - shot.first) for peg in settings.pegs if peg.frame in shot.frames)
    return replace(settings, pegs=pegs)


def _measured_anew(frame: Frame, problem: str | None) -> Frame:
    """Return the frame without what earlier surveys found, unreadable where measuring met a problem now."""
    if problem is None:
        faults = frame.faults - MEASURED
        return frame if faults == frame.faults else replace(frame, faults=faults, problem="")
    return replace(frame, faults=(frame.faults - MEASURED) | {Fault.UNREADABLE}, problem=problem)


def _as_gathered(frame: Frame) -> Frame:
    """Return the frame without the faults that its light told; what can't be read still can't."""
    seen = MEASURED - {Fault.UNREADABLE}
    return replace(frame, faults=frame.faults - seen) if frame.faults & seen else frame


def _with_fault(frame: Frame, fault: Fault) -> Frame:
    return replace(frame, faults=frame.faults | {fault})


def _joined(lights: Iterable[ShotLight]) -> Light:
    parts = [shot_light.light for shot_light in lights]
    return Light(*(np.concatenate([getattr(part, name) for part in parts]) for name in Light.__slots__))


def _measure_all(
    frames: Sequence[Frame], tick: Tick, measured: Measured | None
) -> tuple[list[FrameMeasure | None], dict[int, str]]:
    """Measure on a few threads, a bounded number of frames ahead; returns measures and the problems of unreadable ones."""
    store = MeasureStore()
    measures: list[FrameMeasure | None] = [None] * len(frames)
    problems: dict[int, str] = {}
    work = iter(range(len(frames)))
    done = 0
    tick(done, len(frames))
    with ThreadPoolExecutor(_WORKERS, thread_name_prefix="measure") as pool:
        running: dict[Future[FrameMeasure], int] = {}
        try:
            while True:
                for i in islice(work, 2 * _WORKERS - len(running)):
                    running[pool.submit(_measure, frames[i], store)] = i
                if not running:
                    break
                for future in wait(running, return_when=FIRST_COMPLETED).done:
                    i = running.pop(future)
                    try:
                        measures[i] = found = future.result()
                    except FrameError as error:
                        problems[i] = str(error)
                    else:
                        if measured is not None:
                            measured(i, found)
                    done += 1
                    tick(done, len(frames))
        finally:
            for future in running:
                future.cancel()
    store.prune()
    return measures, problems


def _measure(frame: Frame, store: MeasureStore) -> FrameMeasure:
    look = look_of(frame)
    known = store.get(frame.path, look)
    if known is not None:
        return known
    measured = measure(frame, min_long_side=_READ_LONG_SIDE)
    store.put(frame.path, measured, look)
    return measured
