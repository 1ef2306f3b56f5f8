"""The flash check of a film file, and its report as JSON."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from lapsebench.core.flash import CAUTION, FlashFinding, FlashMeter, FlashPeak, FlashReport, Kind
from lapsebench.core.progress import Tick, silent
from lapsebench.io.atomic import write_json
from lapsebench.io.filmframes import FilmFrames
from lapsebench.services.report import check_report

FORMAT, VERSION = "lapsebench.flash", 1


def check_film(path: Path, *, tick: Tick = silent) -> FlashReport:
    """Return the flashes of any video file, by WCAG 2.2 and BT.1702-3; of what could be read where it is damaged.

    Raises FrameError where it is no video, and `Cancelled` from `tick`.
    """
    with FilmFrames(path) as film:
        meter = FlashMeter(film.size, film.fps, hdr=film.hdr)
        for done, (at, picture) in enumerate(film, start=1):
            meter.add(picture, at)
            tick(done, max(film.expected, done))
        return replace(meter.report(), problem=film.problem)


def flash_json(report: FlashReport) -> dict[str, Any]:
    """Return a report ready for JSON: frames from 0, areas and boxes (x0, y0, x1, y1) in parts of 1."""
    return {
        "format": FORMAT,
        "version": VERSION,
        "verdict": report.verdict.value,
        "frames": report.frames,
        "seconds": report.seconds,
        "findings": [_finding(finding) for finding in report.findings],
        "worst": [_peak(peak) for peak in report.peaks],
        "problem": report.problem or None,
        "caution": CAUTION,
    }


def check_flash_report(path: Path) -> None:
    """Raise `OutputError` where a flash report can't or must not be written: only an earlier one may be replaced."""
    if not _is_flash_report(path):
        check_report(path)


def write_flash_report(path: Path, report: FlashReport) -> None:
    """Write the report as JSON, whole or not at all. Raises `OutputError`."""
    check_flash_report(path)
    write_json(path, flash_json(report))


def _is_flash_report(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            return f'"{FORMAT}"'.encode() in file.read(200)
    except OSError:
        return False


def _kind(kind: Kind) -> dict[str, Any]:
    rules = {Kind.RED_SATURATION: "saturation", Kind.RED_CHROMATICITY: "chromaticity"}
    return {"kind": "red" if kind in rules else "general", "rule": rules.get(kind)}


def _finding(finding: FlashFinding) -> dict[str, Any]:
    return {
        **_kind(finding.kind),
        "text": finding.text.value,
        "verdict": finding.verdict.value,
        "first_frame": finding.first_frame,
        "last_frame": finding.last_frame,
        "start_s": finding.start_s,
        "end_s": finding.end_s,
        "flashes_per_s": finding.flashes_per_s,
        "area": finding.area,
        "box": list(finding.box),
    }


def _peak(peak: FlashPeak) -> dict[str, Any]:
    return {
        **_kind(peak.kind),
        "text": peak.text.value,
        "flashes_per_s": peak.flashes_per_s,
        "at_s": peak.at_s,
        "area": peak.area,
    }
