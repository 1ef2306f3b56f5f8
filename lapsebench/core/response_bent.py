"""Straightens a camera's curve by what the stars tell of it.

A star's light is constant, and its height over the sky in codes goes by the curve's slope there: while the sky behind it
brightens or the exposure changes, stars tell how much too steep the curve is from code to code (see `candles`).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lapsebench.core.candles import Bend
from lapsebench.core.response import Origin, Response

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


def _unbent(response: Response, bend: Bend) -> Response:
    """Return the response whose light rises by as much less from code to code as it is too steep there."""
    ev = np.array(response.ev)
    too_steep = np.interp(np.log2(np.exp2(ev[1:]) + np.exp2(ev[:-1])) - 1, bend.at_ev, bend.slope)
    rise = np.diff(np.exp2(ev)) * np.exp(-too_steep)
    first = np.exp2(ev[0]) * np.exp(-too_steep[0])
    straight = np.log2(first + np.concatenate([[0.0], np.cumsum(rise)]))
    return replace(response, ev=tuple((straight - straight[-1]).tolist()), origin=Origin.MEASURED)
