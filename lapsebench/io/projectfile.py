"""The project file: a `Project` as versioned JSON, saved whole or not at all; paths are relative to it where they can be."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, fields, replace
from datetime import datetime
from fractions import Fraction
from itertools import pairwise
from math import isfinite
from pathlib import Path
from typing import Any

from lapsebench.core.area import AreaKind, MeteringArea
from lapsebench.core.balance import COLDEST_K, HOTTEST_K, MOST_TINT, Balance, BalanceKind
from lapsebench.core.bodies import Body, Clocks, with_offset
from lapsebench.core.curves import CameraCurve
from lapsebench.core.filmlight import LightSettings, Peg
from lapsebench.core.filmsettings import Crop, FilmSettings
from lapsebench.core.formats import FilmFormat
from lapsebench.core.look import Look
from lapsebench.core.project import Project
from lapsebench.core.response import Origin, Response
from lapsebench.core.sequence import MEASURED, Fault, Frame, Shot
from lapsebench.core.sound import Loudness, Sound
from lapsebench.core.view import Aim, View
from lapsebench.errors import ProjectFileError
from lapsebench.io.atomic import write_json

FORMAT, VERSION, SUFFIX = "lapsebench.project", 1, ".lapsebench"


def save_project(project: Project, path: Path) -> None:
    """Write the project to `path`. Raises `OutputError` or `DiskFullError`; an older file then stays as it was."""
    folder = path.absolute().parent
    record = {
        "format": FORMAT,
        "version": VERSION,
        "sources": [_stored(source, folder) for source in project.sources],
        "frames": [_frame_record(frame, folder) for frame in project.frames],
        "shots": [asdict(shot) for shot in project.shots],
        "light": asdict(project.light),
        "film": _film_record(project.film, folder),
        "taken_in": sorted(project.taken_in),
        "left_out": sorted(project.left_out),
        "curves": [asdict(curve) for curve in project.curves],
        "use_curve": project.use_curve,
        "clocks": [asdict(clock) for clock in project.clocks],
    }
    write_json(path, record)


def load_project(path: Path) -> Project:
    """Return the project in `path`; frames whose file is gone are flagged unreadable. Raises `ProjectFileError`."""
    try:
        record = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise ProjectFileError(f"“{path.name}” can't be read: {error.strerror}.", "Check that it is still there.") from error
    except ValueError as error:
        raise ProjectFileError(f"“{path.name}” is no lapsebench project.", "Open the folder of frames instead.") from error
    if not isinstance(record, dict) or record.get("format") != FORMAT:
        raise ProjectFileError(f"“{path.name}” is no lapsebench project.", "Open the folder of frames instead.")
    if record.get("version") != VERSION:
        raise ProjectFileError(f"“{path.name}” was written by a newer lapsebench.", "Update the program to open it.")
    try:
        return _project(record, path.absolute().parent)
    except (KeyError, TypeError, ValueError, ArithmeticError) as error:
        raise ProjectFileError(f"“{path.name}” is damaged: {error}.", "Open the folder of frames instead.") from error


def _project(record: dict[str, Any], folder: Path) -> Project:
    light = record["light"]
    project = Project(
        sources=tuple(_found(source, folder) for source in record["sources"]),
        frames=tuple(_frame(entry, folder) for entry in record["frames"]),
        shots=tuple(_shot(entry) for entry in record["shots"]),
        light=LightSettings(**light | {"pegs": tuple(Peg(**peg) for peg in light["pegs"])}),
        film=_film(record["film"], folder),
        taken_in=frozenset(record["taken_in"]),
        left_out=frozenset(record["left_out"]),
        curves=tuple(_curve(entry) for entry in record.get("curves", ())),
        use_curve=bool(record.get("use_curve", True)),
        clocks=_clocks(record.get("clocks", ())),
    )
    _check(project)
    return project


def _film_record(film: FilmSettings, folder: Path) -> dict[str, Any]:
    record = asdict(film) | {"fps": str(film.fps), "crop": film.crop.value, "format": film.format.value}
    if film.sound is not None:
        record["sound"] = asdict(film.sound) | {
            "path": _stored(film.sound.path, folder),
            "loudness": int(film.sound.loudness),
        }
    return record


def _film(entry: dict[str, Any], folder: Path) -> FilmSettings:
    """Return the settings of the film; projects from before there were formats make H.264 without sound."""
    size, sound = entry["size"], entry.get("sound")
    if sound is not None:
        loudness = Loudness(sound.get("loudness", Loudness.NET))
        sound = Sound(**sound | {"path": _found(sound["path"], folder), "loudness": loudness})
    return FilmSettings(
        **entry
        | {
            "fps": Fraction(entry["fps"]),
            "crop": Crop(entry["crop"]),
            "size": tuple(size) if size else None,
            "format": FilmFormat(entry.get("format", FilmFormat.H264)),
            "sound": sound,
        }
    )


def _clocks(entries: Sequence[dict[str, Any]]) -> Clocks:
    """Return the clock offsets; projects from before there were any have none."""
    clocks: Clocks = ()
    for entry in entries:
        camera, serial = entry["camera"], entry["serial"]
        if not isinstance(camera, str) or not isinstance(serial, str | None):
            raise TypeError("a clock offset names no camera")
        clocks = with_offset(clocks, Body(camera, serial), float(entry["seconds"]))
    return clocks


def _curve(entry: dict[str, Any]) -> CameraCurve:
    """Return a camera's curve; projects from before there were any have none."""
    responses = []
    for stored in entry["responses"]:
        codes, ev = tuple(map(float, stored["codes"])), tuple(map(float, stored["ev"]))
        rising = all(a < b for values in (codes, ev) for a, b in pairwise(values))
        if not (len(codes) == len(ev) > 1 and rising and codes[0] > 0 and all(map(isfinite, ev))):
            raise ValueError("a camera curve does not rise")
        responses.append(Response(**stored | {"codes": codes, "ev": ev, "origin": Origin(stored["origin"])}))
    if len(responses) != 3:
        raise ValueError("a camera curve has three channels")
    return CameraCurve(str(entry["kind"]), tuple(responses))


def _check(project: Project) -> None:
    """Raise ValueError where shots, hand-set frames or pegs do not fit the frames."""
    count = len(project.frames)
    covered = [i for shot in project.shots for i in shot.frames]
    if covered != list(range(count)):
        raise ValueError("its shots do not cover its frames")
    if any(not shot.first <= shot.trim_in <= shot.trim_out <= shot.last for shot in project.shots):
        raise ValueError("an in or out point lies outside its shot")
    numbers = project.taken_in | project.left_out | {peg.frame for peg in project.light.pegs}
    if any(not 0 <= number < count for number in numbers):
        raise ValueError("it names frames that it does not have")
    _check_settings(project.light, project.film)


def _check_settings(light: LightSettings, film: FilmSettings) -> None:
    """Raise ValueError or TypeError where a setting is of a wrong kind or out of its range."""
    numbers = (light.sky_kept, light.ramp_s, light.brightness_ev, *(peg.film_ev for peg in light.pegs))
    if not all(isfinite(number) for number in numbers) or not (0 <= light.sky_kept <= 1 and 0 < light.ramp_s <= 600):
        raise ValueError("a setting of the light is out of its range")
    if not 1 <= film.fps <= 240 or not 0 <= film.quality <= 100 or (film.size and min(film.size) < 16):
        raise ValueError("a setting of the film is out of its range")


def _frame_record(frame: Frame, folder: Path) -> dict[str, Any]:
    record = {field.name: getattr(frame, field.name) for field in fields(frame)}
    return record | {
        "path": _stored(frame.path, folder),
        "taken": frame.taken.isoformat() if frame.taken else None,
        "faults": sorted(frame.faults - MEASURED),
        "problem": "" if frame.faults & MEASURED else frame.problem,
    }


def _shot(entry: dict[str, Any]) -> Shot:
    """Return a shot; those of older projects measure and show the whole picture, as it was shot."""
    parts = {"area": _area(entry.get("area")), "balance": _shot_balance(entry.get("balance"))}
    return Shot(**entry | parts | {"look": Look(**entry.get("look", {})), "view": _view(entry.get("view"))})


def _view(stored: dict[str, Any] | None) -> View:
    if stored is None:
        return View()
    end = stored["end"]
    return View(Aim(**stored["start"]), None if end is None else Aim(**end), float(stored["turn_deg"]))


def _area(stored: dict[str, Any] | None) -> MeteringArea:
    if stored is None:
        return MeteringArea()
    kind, box, horizon = AreaKind(stored["kind"]), tuple(stored["box"]), tuple(stored["horizon"])
    if len(box) != 4:
        raise ValueError("a metering area has no four sides")
    return MeteringArea(kind, box, horizon)


def _shot_balance(stored: dict[str, Any] | None) -> Balance:
    if stored is None:
        return Balance()
    kelvin, tint = float(stored["temperature_k"]), float(stored["tint"])
    if not (COLDEST_K <= kelvin <= HOTTEST_K and abs(tint) <= MOST_TINT):
        raise ValueError("a white balance is out of its range")
    return Balance(BalanceKind(stored["kind"]), _balance(stored["multipliers"]), kelvin, tint)


def _frame(entry: dict[str, Any], folder: Path) -> Frame:
    taken = entry["taken"]
    frame = Frame(
        **entry
        | {
            "path": _found(entry["path"], folder),
            "taken": datetime.fromisoformat(taken) if taken else None,
            "faults": frozenset(Fault(fault) for fault in entry["faults"]),
            "balance": _balance(entry.get("balance")),
            "shown_balance": _balance(entry.get("shown_balance")),
        }
    )
    if frame.readable and not frame.path.is_file():
        problem = f"“{frame.path.name}” is no longer where it was."
        return replace(frame, faults=frame.faults | {Fault.UNREADABLE}, problem=problem)
    return frame


def _balance(stored: list[float] | None) -> tuple[float, float, float] | None:
    if stored is None:
        return None
    red, green, blue = map(float, stored)
    if not (isfinite(red + green + blue) and min(red, green, blue) > 0):
        raise ValueError("a white balance is out of its range")
    return red, green, blue


def _stored(path: Path, folder: Path) -> str:
    """Return the path relative to `folder` where it lies below it, else absolute; with forward slashes."""
    return (path.relative_to(folder) if path.is_relative_to(folder) else path.absolute()).as_posix()


def _found(stored: str, folder: Path) -> Path:
    return folder / stored
