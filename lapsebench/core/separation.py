"""Splits what the camera did from what the sky did."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Light:
    """The light of the frames, per frame, shape (n,), stops unless stated; NaN where unknown (unreadable frames).

    `exposure_ev`: camera exposure at true marks. `luminance_ev`: frame luminance as recorded. `received_ev`: exposure
    really received (marks + bias of the setting + flicker), up to one constant a shot. `scene_ev` = luminance - received.
    `flicker_ev`: the part of received that changes from frame to frame. `setting_change`: bool, the frame's shutter,
    ISO or aperture differs from the one before. `clipped`: share of the picture at the top code.
    """

    exposure_ev: Floats
    luminance_ev: Floats
    received_ev: Floats
    scene_ev: Floats
    flicker_ev: Floats
    setting_change: NDArray[np.bool_]
    clipped: Floats
