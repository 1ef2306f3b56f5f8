"""Straightens a camera's curve by what the stars tell of it.

A star's light is constant, and its height over the sky in codes goes by the curve's slope there: while the sky behind it
brightens or the exposure changes, stars tell how much too steep the curve is from code to code (see `candles`).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lapsebench.core.candles import Bend
from lapsebench.core.response import Origin, Response, any_estimated

_LEAST = 0.02  # of the slope: less is not worth working the light out again


def unbent(responses: tuple[Response, ...], bend: Bend | None) -> tuple[Response, ...] | None:
    """Return the responses of the channels with the bend taken out, None where there is next to none.

    Of sRGB's they are but a hint: from one setting to the next stars tell less of the curve than tiles do.
    """
    if bend is None:
        return None
    if np.abs(bend.slope - bend.slope.mean()).max(initial=0.0) < _LEAST:
        return None
    return tuple(_unbent(response, bend) for response in responses)


def joined(
    bent: tuple[Response, ...], straight: tuple[Response, ...], told: tuple[Response, ...], bend: Bend
) -> tuple[Response, ...]:
    """Return the responses `straight`, with those that the tiles `told` where no star is as dark, scaled to them.

    `bent`: those that the `bend` is of. `told`: those found once the stars have told what the frames received. What tiles
    tell of the scale is some percent off, for sky changes when settings are changed; the stars tell it as far as they reach.
    """
    if not any_estimated(told):
        return straight
    ends = float(bend.at_ev[0]), float(np.median(bend.at_ev))
    return tuple(_joined(*each, ends) for each in zip(bent, straight, told, strict=True))


def _joined(bent: Response, straight: Response, told: Response, ends_ev: tuple[float, float]) -> Response:
    first, last = np.searchsorted(bent.ev, ends_ev).clip(max=len(bent.ev) - 1)
    ev, dark = np.array(straight.ev), np.array(told.ev)
    if last > first:
        dark *= (ev[last] - ev[first]) / (dark[last] - dark[first])
    ev[:first] = ev[first] + dark[:first] - dark[first]
    return replace(straight, ev=tuple(ev.tolist()))


def _unbent(response: Response, bend: Bend) -> Response:
    """Return the response whose light rises by as much less from code to code as it is too steep there."""
    ev = np.array(response.ev)
    too_steep = np.interp(np.log2(np.exp2(ev[1:]) + np.exp2(ev[:-1])) - 1, bend.at_ev, bend.slope)
    rise = np.diff(np.exp2(ev)) * np.exp(-too_steep)
    first = np.exp2(ev[0]) * np.exp(-too_steep[0])
    straight = np.log2(first + np.concatenate([[0.0], np.cumsum(rise)]))
    return replace(response, ev=tuple((straight - straight[-1]).tolist()), origin=Origin.MEASURED)
