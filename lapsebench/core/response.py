"""The camera's response: what light made a code, per channel, as stops of light over the codes of sRGB's scale.

In-camera pictures do not follow sRGB exactly. A response is a smooth deviation from it; see `response_fit` for how it is
found. Gains are measured in its stops and applied through it, both or neither.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lapsebench.core.transfer import linear_to_srgb, srgb_to_linear

Floats = NDArray[np.float64]

_CODE_ERROR = 0.5 / 255  # rounding and coding, as a standard error of a tile's code
_STEADY_EV = 0.02
_FOOT = 10 / 255
_KNOTS = 96
_FIRST_CODE = 1.5 / 255
STEPS = 65535
"""Steps of the root of linear light, 0..1, in tables over light: within 0.001 stop of it down to code 5 of 255."""


class Origin(StrEnum):
    """Where a response comes from; the value is the word stored and reported."""

    MEASURED = "measured"
    TOO_FEW = "sRGB: too few setting changes"
    SRGB_FITS = "sRGB: explains the pictures as well"
    OFF = "sRGB: the camera's curve is switched off"


@dataclass(frozen=True, slots=True)
class Response:
    """Stops of light `ev` at sRGB-scaled codes `codes` (0..1, rising), both k long; 0 at white.

    In between, and below the first code, the deviation from sRGB is linear in the code and constant. `misfit_ev`: robust
    disagreement of tiles across `changes` setting changes, stops, None where there were none. `black_code`: the code under
    which hardly any tile goes.
    """

    codes: tuple[float, ...]
    ev: tuple[float, ...]
    origin: Origin = Origin.TOO_FEW
    misfit_ev: float | None = None
    changes: int = 0
    black_code: float = 0.0

    @property
    def estimated(self) -> bool:
        """Whether the response is from the pictures; else sRGB is taken."""
        return self.origin is Origin.MEASURED

    def stops(self, codes: ArrayLike) -> Floats:
        """Return stops of light, 0 at white, at `codes` 0..1 (any shape); code 0 is -inf."""
        place = np.asarray(codes, dtype=float)
        with np.errstate(divide="ignore"):
            plain: Floats = np.log2(srgb_to_linear(place))
        if not self.estimated:
            return plain
        knots = np.array(self.codes)
        deviation: Floats = np.interp(place, knots, np.array(self.ev) - np.log2(srgb_to_linear(knots)))
        return plain + deviation

    def seen(self, light: NDArray[Any]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Return stops of light, and a weight, for sRGB-decoded linear values (any shape), both of that shape.

        The weight 0..1 tells how little a code error moves the stops: near 0 in the dark and on flat parts of the curve.
        """
        place = light_steps(light)
        ev, weight = seen_tables(self)
        return ev[place], weight[place]


def any_estimated(responses: Iterable[Response]) -> bool:
    """Return whether a response is from the pictures; else sRGB is taken for all."""
    return any(response.estimated for response in responses)


def light_steps(light: NDArray[Any]) -> NDArray[np.int32]:
    """Return the place of linear light, clipped to 0..1, in tables over light, same shape."""
    place = np.sqrt(np.clip(light, 0.0, 1.0).astype(np.float32, copy=False))
    place *= STEPS
    place += 0.5
    return np.asarray(place.astype(np.int32))


def codes_of(light: NDArray[Any]) -> Floats:
    """Return the sRGB codes, 0..1, of linear light, clipped to 0..1, same shape: from a table, to 0.005 of 255."""
    return np.take(_code_table(), light_steps(light), mode="clip")


@lru_cache(maxsize=1)
def _code_table() -> Floats:
    return linear_to_srgb((np.arange(STEPS + 1) / STEPS) ** 2)


@lru_cache(maxsize=8)
def seen_tables(response: Response) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return stops (finite) and weights over the `STEPS` + 1 places of `light_steps`."""
    codes = _code_table()
    lowest = np.maximum(codes, _FIRST_CODE)
    ev = response.stops(lowest)
    slope = np.gradient(ev, codes)
    above_black = np.clip((codes - response.black_code) / _FOOT, 0.0, 1.0)
    weight = above_black**2 / (1.0 + (slope * _CODE_ERROR / _STEADY_EV) ** 2)
    weight[codes <= _FIRST_CODE] = 0.0
    return ev.astype(np.float32), weight.astype(np.float32)


@lru_cache(maxsize=8)
def light_table(response: Response) -> NDArray[np.float32]:
    """Return the light that made the codes, 1 = white, over the `STEPS` + 1 places of `light_steps`."""
    return np.asarray(np.exp2(seen_tables(response)[0]))


def through(light: NDArray[np.float32], responses: Sequence[Response]) -> NDArray[np.float32]:
    """Return the light that made the codes of channels that decode as `light`, (..., c) as sRGB, one response each."""
    place = light_steps(light)
    made = [light_table(response)[place[..., c]] for c, response in enumerate(responses)]
    return np.stack(made, axis=-1)


def knots() -> Floats:
    """Return the codes at which responses are kept, dense in the dark, (k,)."""
    return _FIRST_CODE + (1 - _FIRST_CODE) * np.linspace(0.0, 1.0, _KNOTS) ** 1.6


def srgb_response(
    origin: Origin = Origin.TOO_FEW, *, misfit_ev: float | None = None, changes: int = 0, black_code: float = 0.0
) -> Response:
    """Return the response of a picture that follows sRGB, and why it is taken."""
    codes = knots()
    ev = np.log2(srgb_to_linear(codes))
    return Response(tuple(codes.tolist()), tuple(ev.tolist()), origin, misfit_ev, changes, black_code)
