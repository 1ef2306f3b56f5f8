"""A gain: stops that all channels get alike, or those of R, G and B."""

from __future__ import annotations

from math import isfinite

GainEv = float | tuple[float, float, float]
"""Stops, of all channels alike or of R, G and B."""


def by_channel(gain_ev: GainEv) -> tuple[float, float, float]:
    """Return the stops of R, G and B."""
    return gain_ev if isinstance(gain_ev, tuple) else (gain_ev, gain_ev, gain_ev)


def plain_gain(gain_ev: GainEv) -> GainEv:
    """Return the gain as one number where all channels get the same; stops that are not known are 0."""
    red, green, blue = (float(gain) if isfinite(gain) else 0.0 for gain in by_channel(gain_ev))
    return red if red == green == blue else (red, green, blue)


def lowers(gain_ev: GainEv) -> bool:
    """Return whether some channel is lowered."""
    return min(by_channel(gain_ev)) < 0
