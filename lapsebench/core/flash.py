"""Flashes in a film that can trouble people with photosensitive epilepsy, by WCAG 2.2 and Rec. ITU-R BT.1702-3.

WCAG 2.2, success criterion 2.3.1: no more than three general and three red flashes in any second, or their area at once no
more than a quarter of any 10 degrees of view: 341 x 256 pixels of a screen of 1024 x 768 that the film fills. BT.1702-3:
the same number over no more than a quarter of the screen; 4 to 6 changes a second over more than 4 of 5 seconds are a risk
still. Three flashes are six changes: six in a second pass, so that exactly 3 a second passes, a choice where the texts can
be read both ways. A pixel of an analysis picture of 256 is an eighth of a degree wide: means over it leave out the fine
balanced patterns (below a tenth of a degree) that WCAG excepts.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.flashfields import Field, FieldCount, Passage, Recent
from lapsebench.core.flashswings import (
    Swings,
    general_flash,
    general_flash_hdr,
    general_state,
    red_flash_chromaticity,
    red_flash_saturation,
    red_states,
)

CAUTION = (
    "This is arithmetic on the film's pixels, no medical assurance. It can't know the viewer's screen, its brightness, the "
    "room, the distance or how sensitive anyone is; it takes the film to fill a screen seen from the usual distance. "
    "Broadcasters go by their own tests, and those decide. Warn your viewers where a film flashes at all."
)
"""What no verdict here can promise."""

LONG_SIDE = 256
"""Pixels of the longer side of an analysis picture; a smaller film keeps its size."""
_PARTS = 341 / 1024, 256 / 768


def analysis_size(size: tuple[int, int]) -> tuple[int, int]:
    """Return width and height of the analysis pictures of a film of `size` = (width, height)."""
    scale = min(1.0, LONG_SIDE / max(size))
    return max(1, round(size[0] * scale)), max(1, round(size[1] * scale))


class Verdict(StrEnum):
    """What the texts say of a film, the strictest of them deciding."""

    SAFE = "safe by these texts"
    WARNING = "warning"
    FAILS = "fails"


class Text(StrEnum):
    """The two texts, which differ in the area they look at."""

    WCAG = "WCAG 2.2"
    BT1702 = "ITU-R BT.1702-3"


class Kind(StrEnum):
    """General flashes, of luminance; and red ones by the older rule, of saturation, or that of WCAG 2.2, of u'v'."""

    GENERAL = "general"
    RED_SATURATION = "red, by saturation"
    RED_CHROMATICITY = "red, by chromaticity"


@dataclass(frozen=True, slots=True)
class FlashFinding:
    """A passage that a text fails or warns of: frames from 0, seconds, and the worst within.

    `area` is the largest share of the field, or of the screen, that changes; `box` that field as (x0, y0, x1, y1) in 0..1.
    """

    kind: Kind
    text: Text
    verdict: Verdict
    first_frame: int
    last_frame: int
    start_s: float
    end_s: float
    flashes_per_s: float
    area: float
    box: tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class FlashPeak:
    """The most flashes in any second that are large enough for a text, when, and the largest area that changed at once."""

    kind: Kind
    text: Text
    flashes_per_s: float
    at_s: float
    area: float


@dataclass(frozen=True, slots=True)
class FlashReport:
    """What was found in a film; `problem` says what of it could not be read."""

    verdict: Verdict
    findings: tuple[FlashFinding, ...]
    peaks: tuple[FlashPeak, ...]
    frames: int
    seconds: float
    problem: str = ""


class FlashMeter:
    """Takes a film frame by frame and keeps what the last second needs, so that films of any length fit in memory."""

    def __init__(self, size: tuple[int, int], fps: float, *, hdr: bool = False) -> None:
        """`size` is (width, height) of the analysis pictures; `hdr` adds BT.1702's rule for light above 160 cd/m²."""
        self._size, self._fps = size, fps
        self._swings = {
            Kind.GENERAL: Swings(general_flash_hdr if hdr else general_flash),
            Kind.RED_SATURATION: Swings(red_flash_saturation),
            Kind.RED_CHROMATICITY: Swings(red_flash_chromaticity),
        }
        self._recent = {kind: Recent(size[::-1]) for kind in Kind}
        parts = {Text.WCAG: _PARTS, Text.BT1702: (1.0, 1.0)}
        self._counts = {
            (kind, text): FieldCount(Field(size, parts[text]), sustained=text is Text.BT1702)
            for kind in Kind
            for text in Text
        }
        self._frames, self._start, self._last = 0, 0.0, 0.0

    def add(self, picture: NDArray[np.float32], at: float | None = None) -> None:
        """Take in the next frame, (h, w, 3) linear BT.709 RGB, 1 = white, shown at `at` seconds, or by the frame rate."""
        if picture.shape != (*self._size[::-1], 3):
            raise ValueError(f"a picture of {picture.shape} in a film of {self._size}")
        seconds = self._frames / self._fps if at is None else at
        red, hue = red_states(picture)
        states = {Kind.GENERAL: general_state(picture), Kind.RED_SATURATION: red, Kind.RED_CHROMATICITY: hue}
        for kind, state in states.items():
            turned = self._swings[kind].add(state)
            if not turned.any():
                continue
            self._recent[kind].add(self._frames, seconds, turned != 0)
            for text in Text:
                self._counts[kind, text].add(self._frames, seconds, turned, self._recent[kind])
        self._start = self._start if self._frames else seconds
        self._frames, self._last = self._frames + 1, seconds

    def report(self) -> FlashReport:
        """Return what was found so far."""
        findings: list[FlashFinding] = []
        for (kind, text), count in self._counts.items():
            findings += [_finding(kind, text, Verdict.FAILS, passage) for passage in count.too_many]
            findings += [_finding(kind, text, Verdict.WARNING, passage) for passage in count.too_long]
        findings.sort(key=lambda finding: (finding.verdict is not Verdict.FAILS, finding.start_s))
        return FlashReport(
            verdict=findings[0].verdict if findings else Verdict.SAFE,
            findings=tuple(findings),
            peaks=tuple(
                FlashPeak(kind, text, count.worst / 2, count.worst_s, count.area)
                for (kind, text), count in self._counts.items()
            ),
            frames=self._frames,
            seconds=self._last - self._start + 1 / self._fps if self._frames else 0.0,
        )


def _finding(kind: Kind, text: Text, verdict: Verdict, passage: Passage) -> FlashFinding:
    return FlashFinding(
        kind,
        text,
        verdict,
        passage.first,
        passage.last,
        passage.start_s,
        passage.end_s,
        passage.changes / 2,
        passage.area,
        passage.box,
    )
