"""A RAW frame as it was recorded, and the constant processing that turns it into light."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.balance import Matrix, Multipliers, camera_to_rgb

Three = tuple[float, float, float]
Kind = TypeVar("Kind", bound=np.generic)


@dataclass(frozen=True, slots=True, eq=False)
class Mosaic:
    """One RAW frame, upright, without the masked border.

    `codes`: (h, w) uint16, linear. `pattern`: colour of each photosite, R = 0, G = 1, B = 2, (2, 2) or (6, 6) uint8,
    repeated from the top left. `black`: (p, q) float32, code of no light, repeated alike. `white`: code of full scale of
    R, G, B; `clip`: code from which on R, G, B are saturated in this frame. `matrix`: XYZ (D65) to camera R, G, B.
    `as_shot`, `daylight`: white balance multipliers with G = 1; None where the file has none.
    `baseline_ev`: stops by which the file wants its light raised (DNG BaselineExposure).
    """

    codes: NDArray[np.uint16]
    pattern: NDArray[np.uint8]
    black: NDArray[np.float32]
    white: Three
    clip: Three
    matrix: Matrix
    as_shot: Multipliers | None = None
    daylight: Multipliers | None = None
    baseline_ev: float = 0.0

    @property
    def black_of_colour(self) -> Three:
        """Mean code of no light of R, G, B."""
        rows, cols = (np.lcm(a, b) for a, b in zip(self.black.shape, self.pattern.shape, strict=True))
        colours, black = spread(self.pattern, int(rows), int(cols)), spread(self.black, int(rows), int(cols))
        red, green, blue = (float(black[colours == c].mean()) for c in range(3))
        return red, green, blue


@dataclass(frozen=True, slots=True, eq=False)
class FullColour:
    """One RAW frame with all colours in every pixel, upright: of a linear DNG, or of a sensor without colours as R = G = B.

    `codes`: (h, w, 3) uint16, linear; `black`: codes of no light of R, G, B; all else as in `Mosaic`.
    """

    codes: NDArray[np.uint16]
    black: Three
    white: Three
    clip: Three
    matrix: Matrix
    as_shot: Multipliers | None = None
    daylight: Multipliers | None = None
    baseline_ev: float = 0.0

    @property
    def black_of_colour(self) -> Three:
        """Code of no light of R, G, B."""
        return self.black


RawPicture = Mosaic | FullColour


@dataclass(frozen=True, slots=True)
class Development:
    """How mosaics become light: the same for every frame of a shot, so that only the light can change.

    light = `matrix` @ (`multipliers` * (code - black)) * 2**baseline_ev / `scale`. `scale` is in codes.
    """

    multipliers: Multipliers
    scale: float
    matrix: Matrix


def development(raw: RawPicture, multipliers: Multipliers, primaries: str = "BT.709") -> Development:
    """Return the processing that a shot takes from one of its frames.

    1.0 is where balanced neutral light first saturates a channel of `raw`; the others keep their headroom above it.
    `primaries`: "BT.709" or "BT.2020". ValueError for multipliers that aren't positive and finite.
    """
    if not (np.isfinite(multipliers).all() and min(multipliers) > 0):
        raise ValueError(f"white balance multipliers must be positive: {multipliers}")
    spans = np.subtract(raw.white, raw.black_of_colour) * np.array(multipliers)
    scale = float(spans.min()) * 2.0**raw.baseline_ev
    return Development(multipliers, scale, camera_to_rgb(raw.matrix, primaries))


def spread(tile: NDArray[Kind], rows: int, cols: int) -> NDArray[Kind]:
    """Return a repeating `tile` over (rows, cols)."""
    height, width = tile.shape
    return np.tile(tile, (-(-rows // height), -(-cols // width)))[:rows, :cols]
