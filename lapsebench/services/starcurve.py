"""What stars add to the light that tiles tell: exposures, and the camera's curve, which the two find together."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.candles import Bend, CandleLight, through, tilt_of
from lapsebench.core.pairwise import Pairs
from lapsebench.core.response import Response, any_estimated
from lapsebench.core.response_bent import joined, too_steep, unbent
from lapsebench.core.response_steps import Steps, told_steps
from lapsebench.core.separation import Evidence, Separated, separate
from lapsebench.services.candles import filled_in
from lapsebench.services.metering import Metering

Floats = NDArray[np.float64]

_MOST_ROUNDS = 4
_MOST_ASKINGS = 3
_CURVE_STEP_SD = 0.02  # of a setting change: what stars may be off by where the curve's slope is some percent off
_STRAIGHT = 0.1  # of the slope, from end to end: stars seen through a curve more bent than that tell exposures percents off


@dataclass(frozen=True, slots=True)
class View:
    """A shot's tiles as seen through the `responses` of R, G and B; `colour_ev` as in `ShotLight`."""

    evidence: Evidence
    responses: tuple[Response, ...]
    colour_ev: Floats
    metering: Metering


@dataclass(frozen=True, slots=True)
class Asking:
    """How the stars of a shot are asked and its tiles seen anew.

    `ask(light, responses=, known=)`: see `candles.ask_candles`. `told(hint)`: the responses that the tiles tell, see
    `tilelight.responses_of`. `seen(responses)`: the tiles through them. `keep(candles, responses)`: keeps what the
    stars told as seen through a curve that was straightened by it.
    """

    ask: Callable[..., CandleLight | None]
    told: Callable[[Response], tuple[Response, ...]]
    seen: Callable[[tuple[Response, ...]], View]
    keep: Callable[[CandleLight, tuple[Response, ...]], None]


def with_stars(view: View, separated: Separated, asking: Asking) -> tuple[View, Separated]:
    """Return the view through the curve that stars and tiles tell together, and the light with the stars' exposures.

    Stars that see another curve than sRGB are a hint, which tiles or marks must bear out. What stars tell through a curve
    that is much too steep here and not there is used to straighten it, and they are asked once more.
    """
    for left in reversed(range(_MOST_ASKINGS)):
        separated, candles = _with_exposures(view, separated, asking)
        bend = candles.bend if candles else None
        if candles is None or bend is None:
            break
        if any_estimated(view.responses):
            curve = joined(view.responses, bend, _steps(view, separated, candles, bend))
            if not left or _is_straight(bend):
                candles = through(candles, too_steep(view.responses[1], bend, curve[1]))
                view = asking.seen(curve)
                separated = _given(view, candles)
                asking.keep(candles, curve)
                break
        else:
            straight = unbent(view.responses[1], bend)
            if straight is None:
                break
            curve = asking.told(straight)
            if not any_estimated(curve):
                if not bend.by_marks:
                    break
                curve = (straight,) * len(curve)
        view = asking.seen(curve)
        separated = separate(view.evidence)
    return view, separated


def _steps(view: View, separated: Separated, candles: CandleLight, bend: Bend) -> Steps:
    """Return the steps that stars and marks tell; where flicker is not known, there is none to speak of."""
    flicker = separated.light.flicker_ev
    known = flicker[np.isfinite(flicker)]
    flicker_ev = float(np.sqrt(np.mean(known**2))) if known.size else 0.0
    return told_steps(view.evidence, separated.pairs, candles=candles, bend=bend, flicker_ev=flicker_ev)


def _is_straight(bend: Bend) -> bool:
    return float(np.ptp(bend.slope[1:-1])) < _STRAIGHT


def _with_exposures(view: View, separated: Separated, asking: Asking) -> tuple[Separated, CandleLight | None]:
    """Return the light with what the stars tell of frames that it is not sure of; knowing that, it may doubt some more."""
    candles: CandleLight | None = None
    for _ in range(_MOST_ROUNDS):
        told = asking.ask(separated.light, responses=view.responses, known=candles)
        if told is None or told is candles:
            break
        candles = told
        separated = _given(view, candles, separated.pairs)
    return separated, candles


def _given(view: View, candles: CandleLight, pairs: Pairs | None = None) -> Separated:
    """Return the light, given what the stars told."""
    step_sd = float(np.hypot(_CURVE_STEP_SD * any_estimated(view.responses), tilt_of(candles.count)))
    evidence = replace(
        view.evidence, direct_received_ev=candles.received_ev, direct_sd=candles.sd_ev, direct_step_sd=step_sd
    )
    separated = separate(evidence, pairs)
    return replace(separated, light=filled_in(separated.light, candles))
