"""A frame of a film as its format codes it, on the way from the pictures to the file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class LightLevel:
    """Light of an HDR frame, cd/m2: of the strongest channel at its `most`, and its `mean` over the frame (CTA-861.3)."""

    most: float
    mean: float


@dataclass(frozen=True, slots=True)
class FilmFrame:
    """One frame as its format codes it: the sample `planes` in the order of the layout, and of HDR its light level."""

    planes: tuple[NDArray[Any], ...]
    level: LightLevel | None = None
