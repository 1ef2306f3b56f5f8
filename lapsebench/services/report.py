"""The survey as JSON: one entry for every file found, in shooting order; unknown numbers are null."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from lapsebench.core.filmlight import FilmLight
from lapsebench.core.project import Project
from lapsebench.core.sequence import Frame
from lapsebench.errors import OutputError
from lapsebench.io.atomic import write_json
from lapsebench.services.survey import Survey, used_frames

FORMAT, VERSION = "lapsebench.survey", 1


def survey_report(survey: Survey, project: Project, film: FilmLight, *, warnings: Iterable[str] = ()) -> dict[str, Any]:
    """Return the report of a survey under the project's settings, ready for JSON."""
    used = set(used_frames(project))
    return {
        "format": FORMAT,
        "version": VERSION,
        "shots": [{"first": shot.first, "last": shot.last, "why": shot.why} for shot in project.shots],
        "frames": [_frame(i, frame, survey, film, i in used) for i, frame in enumerate(project.frames)],
        "settings": _settings(project, survey),
        "response": _response(survey),
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
        "file": frame.path.name,
        "time": _time(frame.taken),
        "exposure_s": frame.exposure_s,
        "f_number": frame.f_number,
        "iso": frame.iso,
        "exposure_ev": _number(light.exposure_ev[i]),
        "luminance_ev": _number(light.luminance_ev[i]),
        "received_ev": _number(light.received_ev[i]),
        "scene_ev": _number(light.scene_ev[i]),
        "film_ev": _number(film.film_ev[i]),
        "gain_ev": _number(film.gain_ev[i]),
        "virtual_ev": _number(film.virtual_ev[i]),
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


def _response(survey: Survey) -> dict[str, Any]:
    """Return the camera's curve: sRGB, or stops of light at codes for each channel of the first shot that told it."""
    told = next((shot for shot in survey.responses if any(channel.estimated for channel in shot)), None)
    if told is None:
        return {"curve": "sRGB", "estimated": False, "misfit_ev": None}
    channels = {name: np.round(channel.ev, 4).tolist() for name, channel in zip(("r", "g", "b"), told, strict=True)}
    misfit = max(channel.misfit_ev or 0.0 for channel in told)
    codes = np.round(told[0].codes, 5).tolist()
    return {"curve": "camera", "estimated": True, "misfit_ev": round(misfit, 4), "codes": codes, "ev": channels}


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
