"""The survey as JSON: one entry for every file found, in shooting order; unknown numbers are null."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from lapsebench.core.bodies import by_clocks
from lapsebench.core.curves import CameraCurve
from lapsebench.core.filmlight import FilmLight
from lapsebench.core.project import Project
from lapsebench.core.sequence import Frame
from lapsebench.errors import OutputError
from lapsebench.io.atomic import write_json
from lapsebench.services.metering import Metering
from lapsebench.services.survey import Survey, used_frames

FORMAT, VERSION = "lapsebench.survey", 1


def survey_report(survey: Survey, project: Project, film: FilmLight, *, warnings: Iterable[str] = ()) -> dict[str, Any]:
    """Return the report of a survey under the project's settings, ready for JSON."""
    used = set(used_frames(project))
    frames = by_clocks(project.frames, project.clocks)
    return {
        "format": FORMAT,
        "version": VERSION,
        "shots": [{"first": shot.first, "last": shot.last, "why": shot.why} for shot in project.shots],
        "frames": [_frame(i, frame, survey, film, i in used) for i, frame in enumerate(frames)],
        "settings": _settings(project, survey),
        "metering": [_metering(shot_light.metering) for shot_light in survey.shot_lights],
        "response": _response(replace(project, curves=survey.project.curves)),
        "warnings": [*warnings, *survey.notes, *(frame.problem for frame in project.frames if frame.problem)],
    }


def check_report(path: Path) -> None:
    """Raise `OutputError` where a report can't or must not be written, before hours of work are spent on it.

    Only an earlier report may be replaced: never a still, a film, a project or anything else.
    """
    try:
        fine = not path.is_dir() and path.absolute().parent.is_dir() and (not path.exists() or _is_report(path))
    except OSError:
        fine = False
    if not fine:
        remedy = "Name a file that is not there yet, or an earlier report, in a folder that exists."
        raise OutputError(f"The report can't be written to “{path}”.", remedy)


def _is_report(path: Path) -> bool:
    with path.open("rb") as file:
        return f'"{FORMAT}"'.encode() in file.read(200)


def write_report(path: Path, report: dict[str, Any]) -> None:
    """Write the report as JSON, whole or not at all. Raises `OutputError`."""
    check_report(path)
    write_json(path, report)


def _frame(i: int, frame: Frame, survey: Survey, film: FilmLight, used: bool) -> dict[str, Any]:
    light = survey.light
    return {
        "file": frame.name,
        "time": _time(frame.taken),
        "exposure_s": frame.exposure_s,
        "f_number": frame.f_number,
        "iso": frame.iso,
        "exposure_ev": _number(light.exposure_ev[i]),
        "luminance_ev": _number(light.luminance_ev[i]),
        "received_ev": _number(light.received_ev[i]),
        "scene_ev": _number(light.scene_ev[i]),
        "error_ev": _number(light.error_ev[i]),
        "film_ev": _number(film.film_ev[i]),
        "gain_ev": _number(film.gain_ev[i]),
        "virtual_ev": _number(film.virtual_ev[i]),
        "colour_ev": None if film.colour_ev is None else [_number(colour) for colour in film.colour_ev[i]],
        "clipped": _number(light.clipped[i]),
        "setting_change": bool(light.setting_change[i]),
        "faults": sorted(frame.faults),
        "used": used,
    }


def _settings(project: Project, survey: Survey) -> list[dict[str, Any]]:
    """Return every distinct setting with its exposure, the frames that have it, and its median bias against the marks."""
    members: dict[tuple[float | None, float | None, float | None], list[int]] = {}
    for i, frame in enumerate(project.frames):
        members.setdefault(frame.setting, []).append(i)
    light = survey.light
    bias = light.received_ev - light.exposure_ev - np.nan_to_num(light.flicker_ev)
    return [
        {
            "exposure_s": setting[0],
            "f_number": setting[1],
            "iso": setting[2],
            "exposure_ev": _number(light.exposure_ev[frames[0]]),
            "bias_ev": _number(np.nanmedian(bias[frames])) if np.isfinite(bias[frames]).any() else None,
            "frames": len(frames),
        }
        for setting, frames in members.items()
    ]


def _metering(metering: Metering) -> dict[str, Any]:
    """Return what was measured of a shot; the horizon is as in `core.horizon`, the one used or else the one found."""
    found = metering.horizon.skyline if metering.horizon else None
    return {
        "kind": metering.used.kind,
        "box": list(metering.used.box) if metering.used.by_box else None,
        "horizon": list(metering.used.horizon or found or ()) or None,
        "found": metering.horizon is not None,
        "confidence": metering.horizon.confidence if metering.horizon else None,
        "problem": metering.problem or None,
    }


def _response(project: Project) -> dict[str, Any]:
    """Return the curve of the first camera that has one of its own, sRGB where none has, and those of every kind of picture.

    Where all is RAW, which has none, it is linear.

    `ev`: stops of light below white at `codes` (0..1) for each channel. `origin` says where it is from, or why it is sRGB.
    """
    of_kinds = [_curve(curve, use=project.use_curve) for curve in project.curves]
    told = next((curve for curve in of_kinds if curve["estimated"]), None)
    raw = all(frame.balance is not None for frame in project.frames if frame.readable)
    plain = {"curve": "linear" if raw else "sRGB", "estimated": False, "misfit_ev": None}
    return (told or plain) | {"kinds": of_kinds}


def _curve(curve: CameraCurve, *, use: bool) -> dict[str, Any]:
    lead = curve.responses[len(curve.responses) // 2]
    told = {
        "kind": curve.kind,
        "curve": "camera" if curve.estimated else "sRGB",
        "estimated": curve.estimated,
        "used": curve.estimated and use,
        "origin": lead.origin,
        "changes": lead.changes,
        "misfit_ev": None if lead.misfit_ev is None else _number(lead.misfit_ev),
    }
    if not curve.estimated:
        return told
    channels = {name: np.round(channel.ev, 4).tolist() for name, channel in zip("rgb", curve.responses, strict=True)}
    return told | {"codes": np.round(lead.codes, 5).tolist(), "ev": channels}


def _number(value: float) -> float | None:
    return round(float(value), 5) if np.isfinite(value) else None


def _time(taken: datetime | None) -> str | None:
    """Return ISO 8601 with hundredths of a second, finer only where the file tells more."""
    if taken is None:
        return None
    if taken.microsecond % 10_000:
        return taken.isoformat(timespec="microseconds")
    text = taken.isoformat(timespec="milliseconds")
    dot = text.index(".")
    return text[: dot + 3] + text[dot + 4 :]
