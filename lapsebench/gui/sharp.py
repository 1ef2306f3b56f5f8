"""Sharp pictures of one frame, rendered from its file: the side as shot, the side as in the film, or both."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from PySide6.QtGui import QImage

from lapsebench.core.balance import Multipliers
from lapsebench.core.curves import Responses
from lapsebench.core.gains import GainEv
from lapsebench.core.look import Look
from lapsebench.core.sequence import Frame
from lapsebench.gui.picture import to_image
from lapsebench.imaging.framing import scaled
from lapsebench.services import preview
from lapsebench.services.finish import PLAIN, Finish

_MOST_AT_ONCE = 2_000_000
"""Pixels that can be given another gain within one step of a slider."""
_MOST_NS = 50e6
"""What the look may take of a step; on one busy core it takes about as much again."""
_TONES_NS, _TABLE_NS, _DETAIL_NS = 60, 260, 280  # a pixel, as measured


@dataclass(frozen=True)
class Rendered:
    """One picture: its pixels, (h, w, 3) sRGB, and the same to draw."""

    pixels: NDArray[np.uint8]
    image: QImage


@dataclass(frozen=True)
class Sharp:
    """Pictures of one frame from its file, those of the sides shown, and what they were made for."""

    frame: int
    gain_ev: GainEv
    long_side: int | None
    before: Rendered | None
    film: Rendered | None
    responses: Responses = ()
    balance: Multipliers | None = None
    look: Look = field(default_factory=Look)

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        made = self.film or self.before
        return (made.image.width(), made.image.height()) if made else (0, 0)

    def with_gain(self, gain_ev: GainEv, responses: Responses, finish: Finish) -> QImage | None:
        """Return the film side: as rendered, else a draft from the side before unless even that takes too long.

        A draft leaves noise, stars and sharpness out unless they are what changed, and has only as many pixels as there is
        time for.
        """
        if self.film is not None and (self.gain_ev, self.responses, self.look) == (gain_ev, responses, finish.look):
            return self.film.image
        if self.before is None or self.size[0] * self.size[1] > _MOST_AT_ONCE:
            return None
        if _detail_of(finish.look) == _detail_of(self.look):
            finish = without_detail(finish)
        return to_image(preview.with_gain(_draft_of(self.before.pixels, finish), gain_ev, responses, finish))


@dataclass(frozen=True)
class Wanted:
    """What the view needs of one frame."""

    number: int
    frame: Frame
    gain_ev: GainEv
    long_side: int | None
    before: bool
    film: bool
    responses: Responses
    finish: Finish = PLAIN

    def render(self, kept: Sharp | None) -> Sharp:
        """Return what is wanted, with what is `kept` of the same picture; each other side is decoded once."""
        if kept is not None and not self._same_picture(kept):
            kept = None
        before = kept.before if kept else None
        film = kept.film if kept and self._gained_alike(kept) else None
        if self.gain_ev == 0.0 and self.finish.look == Look():
            before = film = before or film or self._rendered(0.0, PLAIN)
        if self.before and before is None:
            before = self._rendered(0.0, PLAIN)
        if self.film and film is None:
            film = self._rendered(self.gain_ev, self.finish)
        made_for = self.responses, self.frame.shown_balance, self.finish.look
        return Sharp(self.number, self.gain_ev, self.long_side, before, film, *made_for)

    def met_by(self, sharp: Sharp | None) -> bool:
        """Return whether `sharp` is all that is wanted."""
        if sharp is None or not self._same_picture(sharp):
            return False
        has_film = sharp.film is not None and self._gained_alike(sharp)
        return (sharp.before is not None or not self.before) and (has_film or not self.film)

    def _same_picture(self, sharp: Sharp) -> bool:
        """Whether `sharp` is of the same frame, size and white balance."""
        own = (self.number, self.long_side, self.frame.shown_balance)
        return (sharp.frame, sharp.long_side, sharp.balance) == own

    def _gained_alike(self, sharp: Sharp) -> bool:
        return (sharp.gain_ev, sharp.responses, sharp.look) == (self.gain_ev, self.responses, self.finish.look)

    def _rendered(self, gain_ev: GainEv, finish: Finish) -> Rendered:
        pixels = preview.picture(self.frame, gain_ev, long_side=self.long_side, responses=self.responses, finish=finish)
        return Rendered(pixels, to_image(pixels))


def without_detail(finish: Finish) -> Finish:
    """Return the finish with noise, stars and sharpness left as they are."""
    return replace(finish, look=replace(finish.look, noise=0.0, star_care=0.0, sharpen=0.0))


def _detail_of(look: Look) -> tuple[float, float, float]:
    return look.noise, look.star_care, look.sharpen


def _draft_of(pixels: NDArray[np.uint8], finish: Finish) -> NDArray[np.uint8]:
    """Return `pixels` (h, w, 3), or so many of them that the look is done in time."""
    if finish.is_plain:
        return pixels
    height, width = pixels.shape[:2]
    table, detail = _TABLE_NS * finish.look.uses_lut, _DETAIL_NS * (not finish.look.has_plain_detail)
    share = min(1.0, _MOST_NS / ((_TONES_NS + table + detail) * width * height)) ** 0.5
    return scaled(pixels, (max(round(width * share), 1), max(round(height * share), 1)))
