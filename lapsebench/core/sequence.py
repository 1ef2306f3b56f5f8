"""Frames and shots: what was gathered, in shooting order."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from pathlib import Path

from lapsebench.core.area import MeteringArea
from lapsebench.core.balance import Balance
from lapsebench.core.exposure import exposure_ev, shutter_text
from lapsebench.core.look import Look
from lapsebench.core.view import View


class Fault(StrEnum):
    """What can be wrong with a frame; the value is the word shown and written to reports."""

    UNREADABLE = "unreadable"
    STRAY_LIGHT = "stray light"
    BUMPED = "bumped"
    BLOWN = "blown"
    BLACK = "black"
    GAP = "gap"
    DUPLICATE = "duplicate"
    ODD_SIZE = "odd size"
    METADATA = "metadata disagrees"
    UNCERTAIN = "exposure uncertain"


SPOILT = frozenset(
    {
        Fault.UNREADABLE,
        Fault.STRAY_LIGHT,
        Fault.BUMPED,
        Fault.BLOWN,
        Fault.BLACK,
        Fault.DUPLICATE,
        Fault.ODD_SIZE,
    }
)
"""Faults that leave a frame out of the film unless the user takes it back in."""


MEASURED = frozenset(
    {
        Fault.UNREADABLE,
        Fault.STRAY_LIGHT,
        Fault.BUMPED,
        Fault.BLOWN,
        Fault.BLACK,
        Fault.METADATA,
        Fault.UNCERTAIN,
    }
)
"""Faults that a survey finds anew each time."""


@dataclass(frozen=True, slots=True)
class Frame:
    """One still and what its metadata say; None is unknown, never 0.

    `taken` is the start of the exposure: aware where the file names its zone, else camera clock time without one.
    `balance`: white balance multipliers of R, G and B that a RAW still is measured with, the same all through a shot;
    `shown_balance`: those it is shown and filmed with, where the user chose others.
    `part`: number of the frame in a video; None for a still.
    `width` and `height` are pixels as shown, after `orientation` (Exif tag 0x0112) was applied.
    """

    path: Path
    taken: datetime | None = None
    exposure_s: float | None = None
    f_number: float | None = None
    iso: float | None = None
    focal_mm: float | None = None
    camera: str | None = None
    serial: str | None = None
    lens: str | None = None
    width: int = 0
    height: int = 0
    orientation: int = 1
    bit_depth: int = 8
    faults: frozenset[Fault] = field(default_factory=frozenset)
    problem: str = ""
    balance: tuple[float, float, float] | None = None
    part: int | None = None
    shown_balance: tuple[float, float, float] | None = None

    @property
    def name(self) -> str:
        """What the frame is called: its file, and which one of it in a video."""
        return self.path.name if self.part is None else f"{self.path.name} #{self.part + 1}"

    @property
    def exposure_ev(self) -> float | None:
        """Camera exposure log2(t S / 100 / N^2), stops, at true marks; None where t or S is unknown."""
        return exposure_ev(self.exposure_s, self.f_number, self.iso)

    @property
    def setting(self) -> tuple[float | None, float | None, float | None]:
        """Shutter (s), f-number and ISO."""
        return self.exposure_s, self.f_number, self.iso

    @property
    def readable(self) -> bool:
        """Whether the still can be decoded."""
        return Fault.UNREADABLE not in self.faults


def change_parts(before: Frame, after: Frame, arrow: str) -> list[str]:
    """Return what changed of the setting between two frames, such as `10 s -> 4 s`; nothing where either is unknown."""
    parts = []
    if before.exposure_s and after.exposure_s and before.exposure_s != after.exposure_s:
        parts.append(f"{shutter_text(before.exposure_s)} {arrow} {shutter_text(after.exposure_s)}")
    if before.iso and after.iso and before.iso != after.iso:
        parts.append(f"ISO {before.iso:g} {arrow} {after.iso:g}")
    if before.f_number and after.f_number and before.f_number != after.f_number:
        parts.append(f"f/{before.f_number:g} {arrow} f/{after.f_number:g}")
    return parts


@dataclass(frozen=True, slots=True)
class Shot:
    """A run of frames with one camera position: `first` to `last`, both within, and `why` it starts here.

    `trim_in` and `trim_out` are the in and out points (frame numbers of the project, both within the shot). `area` is what
    is measured of its pictures. `balance` is the white balance that its RAW stills are shown and filmed with, `look` what
    is done to the film's colours, and `view` the part of the picture that the film shows.
    """

    first: int
    last: int
    why: str = "start"
    trim_in: int = -1
    trim_out: int = -1
    in_film: bool = True
    area: MeteringArea = field(default_factory=MeteringArea)
    balance: Balance = field(default_factory=Balance)
    look: Look = field(default_factory=Look)
    view: View = field(default_factory=View)

    def __post_init__(self) -> None:
        if self.trim_in < 0:
            object.__setattr__(self, "trim_in", self.first)
        if self.trim_out < 0:
            object.__setattr__(self, "trim_out", self.last)

    @property
    def frames(self) -> range:
        """Frame numbers of the whole shot."""
        return range(self.first, self.last + 1)

    @property
    def trimmed(self) -> range:
        """Frame numbers from in to out."""
        return range(self.trim_in, self.trim_out + 1)
