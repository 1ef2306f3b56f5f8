"""Looks for flashes in a film that can trouble people with photosensitive epilepsy; reads any video, changes none."""

from __future__ import annotations

import argparse
from pathlib import Path

from lapsebench.cli.progressline import ProgressLine, say
from lapsebench.core.flash import CAUTION, FlashFinding, FlashReport, Kind, Text, Verdict
from lapsebench.errors import LapsebenchError
from lapsebench.services.flashcheck import check_film, check_flash_report, write_flash_report

_ADVICE = (
    "What helps: a longer ramp (--ramp), less of the sky's slow change (--sky-kept), flicker taken out, lower contrast, "
    "or a slower frame rate (--fps), which slows every flash alike."
)


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument("film", type=Path, metavar="FILE", help="a video of any kind")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the report as JSON")
    parser.add_argument(
        "--strict",
        action="store_true",
        help="end with exit code 1 where the film fails; without it the code is 0 once the film is examined",
    )


def run(options: argparse.Namespace) -> None:
    """Examine the film, print what was found, and write the JSON where asked."""
    if options.json:
        check_flash_report(options.json)
    with ProgressLine("Looking for flashes") as tick:
        report = check_film(options.film, tick=tick)
    if report.problem:
        say(report.problem)
    print_flashes(options.film.name, report)
    if options.json:
        write_flash_report(options.json, report)
        say(f"Report written to {options.json}")
    if options.strict and report.verdict is Verdict.FAILS:
        raise LapsebenchError(f"{options.film.name} flashes too much.", "Change the film before you show it.")


def print_flashes(name: str, report: FlashReport) -> None:
    """Print the verdict, the passages found, the worst second of all, advice and what this can't promise."""
    print(f"{name}: {report.verdict}. {report.frames} frames, {report.seconds:.2f} s.")
    for finding in report.findings:
        print(f"  {_line(finding)}")
    for kind, what in ((Kind.GENERAL, "general"), (Kind.RED_SATURATION, "red")):
        print(f"  most {what} flashes in a second: {_worst(report, red=kind is not Kind.GENERAL)}")
    if report.findings:
        print(_ADVICE)
    print(CAUTION)


def tell_flashes(name: str, report: FlashReport) -> None:
    """Say what was found in a film just made: one line where it is safe, else all of it."""
    if report.problem:
        say(report.problem)
    if report.findings:
        print_flashes(name, report)
    else:
        say(f"Flashes: {report.verdict} (WCAG 2.2 and BT.1702-3). {CAUTION}")


def _line(finding: FlashFinding) -> str:
    frames = f"frames {finding.first_frame + 1} to {finding.last_frame + 1}"
    when = f"{_clock(finding.start_s)} to {_clock(finding.end_s)}, {frames}"
    x0, y0, x1, y1 = (round(100 * part) for part in finding.box)
    where = "of the screen" if finding.text is Text.BT1702 else f"of a field, {x0}-{x1} % across and {y0}-{y1} % down"
    says = f"fails {finding.text}" if finding.verdict is Verdict.FAILS else f"goes on too long for {finding.text}"
    return f"{when}: {says}: {finding.kind}, {finding.flashes_per_s:g} flashes a second over {finding.area:.0%} {where}"


def _worst(report: FlashReport, *, red: bool) -> str:
    peaks = [peak for peak in report.peaks if (peak.kind is not Kind.GENERAL) == red]
    worst = max(peaks, key=lambda peak: peak.flashes_per_s)
    area = max(peak.area for peak in peaks if peak.text is Text.WCAG)
    rate = f"{worst.flashes_per_s:g} at {_clock(worst.at_s)}" if worst.flashes_per_s else "none large enough"
    return f"{rate}; largest change at once: {area:.0%} of a field"


def _clock(seconds: float) -> str:
    minutes, rest = divmod(round(seconds * 100), 6000)
    return f"{minutes // 60}:{minutes % 60:02}:{rest / 100:05.2f}"
