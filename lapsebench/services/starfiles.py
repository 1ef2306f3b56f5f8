"""Reads the frames that stars are looked for in from their files, and keeps what the stars told beside the measures."""

from __future__ import annotations

from collections.abc import Sequence
from hashlib import blake2b

import numpy as np

from lapsebench.core.candles import Bend, CandleLight
from lapsebench.core.response import Response
from lapsebench.core.sequence import Frame
from lapsebench.imaging.starpicture import StarPicture
from lapsebench.io.cache import MeasureStore
from lapsebench.services.stills import look_of, star_light

_VERSION = 21  # of what is told, counted up whenever the way to tell it changes


class StarFiles:
    """The stills of a project as the stars are asked about them; see `candles.Look`."""

    def __init__(self, frames: Sequence[Frame], store: MeasureStore | None = None) -> None:
        self._frames = frames
        self._store = store or MeasureStore()

    def seen(self, number: int, responses: Sequence[Response]) -> StarPicture:
        """Return a frame's light, brought down in size. Raises FrameError."""
        return star_light(self._frames[number], responses)

    def recalled(self, numbers: Sequence[int], responses: Sequence[Response]) -> CandleLight | None:
        """Return what the stars told of these frames before, if the files are the same."""
        key = self._key(numbers, responses)
        known = self._store.arrays(key, ("received_ev", "sd_ev", "count", "bend", "by_marks")) if key else None
        if known is None or any(values.shape != (len(numbers),) for values in known[:3]):
            return None
        received, sd, count, bend, by_marks = known
        if bend.ndim != 2 or bend.shape[0] != 2 + bend.shape[1] + len(numbers):
            return None
        at_ev, slope, (covariance, exposure) = bend[0], bend[1], np.split(bend[2:], [bend.shape[1]])
        told = Bend(at_ev, slope, covariance, exposure, bool(by_marks.any())) if bend.size else None
        return CandleLight(received.astype(float), sd.astype(float), count.astype(np.intp), told)

    def keep(self, numbers: Sequence[int], responses: Sequence[Response], told: CandleLight) -> None:
        """Keep what the stars told of these frames."""
        key = self._key(numbers, responses)
        if key:
            bend = np.zeros((2 + len(numbers), 0))
            if told.bend is not None:
                bend = np.vstack([told.bend.at_ev, told.bend.slope, told.bend.covariance, told.bend.exposure_ev])
            by_marks = np.array([told.bend is not None and told.bend.by_marks])
            self._store.keep_arrays(
                key, received_ev=told.received_ev, sd_ev=told.sd_ev, count=told.count, bend=bend, by_marks=by_marks
            )

    def _key(self, numbers: Sequence[int], responses: Sequence[Response]) -> str | None:
        """Return what stands for these files as they are now, their times and the responses; None where one is gone."""
        digest = blake2b(f"candles {_VERSION}\0{tuple(responses)!r}".encode(), digest_size=20)
        for number in numbers:
            frame = self._frames[number]
            stamp = self._store.stamp(frame.path)
            if stamp is None:
                return None
            digest.update(f"\0{stamp}\0{frame.taken}\0{look_of(frame)}".encode("utf-8", "surrogateescape"))
        return digest.hexdigest()
