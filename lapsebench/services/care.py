"""The care that the RAW stills of a film get: how finely they are demosaiced, and the hot pixels taken out."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from lapsebench.core.mosaic import Mosaic
from lapsebench.core.project import Project
from lapsebench.core.sequence import Frame
from lapsebench.errors import FrameError
from lapsebench.imaging.hotpixels import HotPixels
from lapsebench.io.kinds import is_raw
from lapsebench.io.raw import read_raw
from lapsebench.services.stills import Care

_LEARNT_FROM = 6  # frames, spread over the shot
_LEAST = 3


def cares_of(project: Project, numbers: Sequence[int], alive: Callable[[], None]) -> list[Care]:
    """Return the care of each of the frames `numbers`; hot pixels are learnt shot by shot where the film wants it.

    `alive` is called between frames read for that and may raise `Cancelled`.
    """
    plain = Care(fine=project.film.fine)
    cares = dict.fromkeys(numbers, plain)
    if project.film.mend_hot:
        for shot in project.shots:
            members = [number for number in numbers if number in shot.frames and is_raw(project.frames[number].path)]
            hot = _learnt([project.frames[number] for number in members], alive)
            cares |= dict.fromkeys(members, Care(fine=plain.fine, hot=hot))
    return [cares[number] for number in numbers]


def _learnt(frames: Sequence[Frame], alive: Callable[[], None]) -> HotPixels | None:
    """Return the hot pixels of a shot, None where too few frames tell."""
    mosaics: list[Mosaic] = []
    for place in np.unique(np.linspace(0, len(frames) - 1, _LEARNT_FROM).astype(int)) if frames else ():
        alive()
        try:
            raw = read_raw(frames[place].path)
        except FrameError:
            continue  # filming will say it
        if isinstance(raw, Mosaic):
            mosaics.append(raw)
    alike = [mosaic for mosaic in mosaics if mosaic.codes.shape == mosaics[0].codes.shape]
    return HotPixels.learn(alike) if len(alike) >= _LEAST else None
