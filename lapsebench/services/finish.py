"""What is done to a frame after its gain: the look of its shot, ready to be applied."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.gains import GainEv, by_channel
from lapsebench.core.look import Look
from lapsebench.core.lut import Lut
from lapsebench.errors import LapsebenchError
from lapsebench.imaging.grade import graded, graded_codes
from lapsebench.io.cubefile import read_cube

_HEADROOM = 64.0
"""Most light that a look leaves to films that show what is above white, which roll it off themselves."""


@dataclass(frozen=True, slots=True)
class Finish:
    """A look and its look-up table. Its exposure goes with the gain, so that bright parts roll off after it."""

    look: Look = field(default_factory=Look)
    lut: Lut | None = None

    @property
    def is_plain(self) -> bool:
        """Whether nothing is done beyond the exposure."""
        return replace(self.look, exposure=0.0).is_plain

    def gain(self, gain_ev: GainEv) -> GainEv:
        """Return a gain with the look's exposure, stops; one that is not known is none."""
        if not self.look.exposure:
            return gain_ev
        red, green, blue = (float(np.nan_to_num(gain)) + self.look.exposure for gain in by_channel(gain_ev))
        return red if red == green == blue else (red, green, blue)

    def on_light(self, light: NDArray[np.float32], *, headroom: bool = False) -> NDArray[np.float32]:
        """Return linear light (h, w, 3) with the look but for its exposure."""
        return graded(light, replace(self.look, exposure=0.0), self.lut, peak=_HEADROOM if headroom else 1.0)

    def on_codes(self, codes: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """Return sRGB codes (h, w, 3) with the look but for its exposure."""
        return graded_codes(codes, replace(self.look, exposure=0.0), self.lut)


PLAIN = Finish()


def finish_of(look: Look) -> Finish:
    """Return a look ready to be applied. Raises LapsebenchError where its .cube file can't be used."""
    if look.lut is None or not look.uses_lut:
        return Finish(look)
    path = Path(look.lut)
    try:
        state = path.stat()
    except OSError:
        return Finish(look, read_cube(path))  # which says why
    lut = _kept(path, state.st_mtime_ns, state.st_size)
    if isinstance(lut, LapsebenchError):
        raise LapsebenchError(lut.what, lut.remedy)
    return Finish(look, lut)


@lru_cache(maxsize=8)
def _kept(path: Path, _changed_ns: int, _size: int) -> Lut | LapsebenchError:
    """Return the table in a file, or what is wrong with it; a file that could not be read raises and is read again."""
    try:
        return read_cube(path)
    except LapsebenchError as error:
        if isinstance(error.__cause__, OSError):
            raise
        return LapsebenchError(error.what, error.remedy)  # the one caught keeps all that was read
