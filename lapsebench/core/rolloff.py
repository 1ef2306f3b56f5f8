"""A gain in stops that keeps black black and white white: straight in between, rolling off near the top."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from lapsebench.core.gains import GainEv, by_channel

KNEE = 0.8
"""Linear output below which a gain is exact."""
HEADROOM = 1.6
"""Times white at which gained light with headroom is shown as white."""
_NEAR_WHITE = 0.95
_SHOULDER = (HEADROOM - KNEE) / (1 - KNEE)  # the power that makes its first slope 1


def gain_with_rolloff(linear: NDArray[np.float32], gain_ev: float) -> NDArray[np.float32]:
    """Return `linear` (any shape, [0, 1]) times 2^gain_ev, bent near the top so that 1 stays 1.

    Below the knee the gain is exact. Above it an exponential shoulder meets the straight part with its slope and ends at
    (1, 1): a brightened display rolls off instead of clipping, and a clipped input stays white when darkened. Monotone.
    """
    gain = float(2.0**gain_ev)
    if abs(gain_ev) < 1e-6:
        return linear.astype(np.float32)
    knee_in = KNEE / max(gain, 1.0)
    knee_out = knee_in * gain
    bend = _bend(gain * (1 - knee_in) / (1 - knee_out))
    along = np.clip((linear - knee_in) / (1 - knee_in), 0.0, 1.0)
    shoulder = knee_out + (1 - knee_out) * np.expm1(-bend * along) / np.expm1(-bend)
    shoulder = np.where(linear >= 1.0, 1.0, shoulder)
    return np.where(linear <= knee_in, linear * gain, shoulder).astype(np.float32)


def darken(linear: NDArray[np.float32], gain_ev: float) -> NDArray[np.float32]:
    """Return linear RGB (..., 3) in [0, 1] under a gain below 0 stops, hues kept.

    Only what is white, every channel near the top, is held at white: a pixel with one clipped channel, such as bright green
    aurora, is darkened as a whole, so that it does not turn into a flat patch of pure colour.
    """
    white = linear.min(axis=-1, keepdims=True)
    share = gain_with_rolloff(white, gain_ev) / np.maximum(white, np.float32(1e-6))
    return linear * np.where(white > KNEE, share, np.float32(2.0**gain_ev))


def gain_rgb(linear: NDArray[np.float32], gain_ev: GainEv) -> NDArray[np.float32]:
    """Return linear RGB (..., 3) in [0, 1] under a gain: raised channels roll off, lowered ones go as in `darken`."""
    if isinstance(gain_ev, tuple):
        return np.stack([gain_rgb(linear, gain)[..., c] for c, gain in enumerate(gain_ev)], axis=-1)
    return gain_with_rolloff(linear, gain_ev) if gain_ev >= 0 else darken(linear, gain_ev)


def shoulder_rgb(light: NDArray[np.float32], gain_ev: GainEv) -> NDArray[np.float32]:
    """Return linear RGB (..., 3) with headroom above 1 under a gain, rolled off into [0, 1]; hues are kept.

    Below the knee the gain is exact; above it the strongest channel follows a shoulder that ends at `HEADROOM` times
    white, the others in proportion. What is white, full in every channel of the still, stays white whatever the gain.
    """
    gained = np.maximum(light, 0) * np.exp2(np.asarray(gain_ev, np.float32))
    most = np.maximum(gained.max(axis=-1, keepdims=True), np.float32(1e-9))
    left = np.clip((HEADROOM - most) / np.float32(HEADROOM - KNEE), 0, 1)
    rolled = np.where(most > KNEE, 1 - (1 - KNEE) * left ** np.float32(_SHOULDER), most)
    white = _whiteness(light)
    shown = gained * (rolled / most)
    return np.asarray(shown + white * (1 - shown), dtype=np.float32)


def gain_with_headroom(light: NDArray[np.float32], gain_ev: GainEv) -> NDArray[np.float32]:
    """Return linear RGB (..., 3) under a gain for a film that shows what is above white: straight, with no roll-off.

    What is white, full in every channel of the still, is not darkened below white.
    """
    gained = light * np.exp2(np.asarray(gain_ev, np.float32))
    if min(by_channel(gain_ev)) >= 0:
        return gained
    white = _whiteness(light)
    return np.asarray(gained + white * (np.maximum(gained, 1) - gained), dtype=np.float32)


def _whiteness(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return how far pixels (..., 3) are white, full in every channel, (..., 1): smoothly from 0 to 1."""
    white: NDArray[np.float32] = np.clip(
        (light.min(axis=-1, keepdims=True) - _NEAR_WHITE) / np.float32(1 - _NEAR_WHITE), 0, 1
    )
    return white * white * (3 - 2 * white)


def _bend(start_slope: float) -> float:
    """Return a with a / (1 - exp(-a)) = start_slope: the shoulder's first slope in units of its mean slope."""
    if abs(start_slope - 1) < 1e-6:
        return 1e-6
    root: float = brentq(
        lambda a: a / -np.expm1(-a) - start_slope if abs(a) > 1e-9 else 1 - start_slope, -600.0, start_slope + 1.0
    )
    return root
