"""RAW of sensors with four colours, or with colours in layers: LibRaw decodes them, the same way each frame.

Nothing of a picture's own brightness may decide how it is developed. The light is CIE XYZ: no colour falls outside.
"""

from __future__ import annotations

import numpy as np
import rawpy

from lapsebench.core.balance import Matrix, rgb_to_xyz
from lapsebench.core.mosaic import FullColour
from lapsebench.errors import FrameError
from lapsebench.io.layout import COPY_AGAIN, DEVELOP
from lapsebench.io.rawcheck import histogram, unsound

XYZ: Matrix = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
"""The matrix of a camera that sees XYZ itself."""
_TOP = 65535.0
_DIMMED = 0.9  # of full scale: Z of white is above Y
_CLIPPED = 0.998  # of what white comes to, from which on it counts as clipped


def developed(raw: rawpy.RawPy, name: str) -> FullColour:
    """Return an unpacked file as linear light of daylight's balance, upright. Raises FrameError where it is damaged."""
    _check(raw, name)
    told = [float(value) for value in raw.daylight_whitebalance]
    colours = raw.postprocess(
        user_wb=told if all(value > 0 for value in told[: raw.num_colors]) else [1.0] * 4,
        output_color=rawpy.ColorSpace.raw,
        output_bps=16,
        gamma=(1, 1),
        no_auto_bright=True,
        adjust_maximum_thr=0.0,
        highlight_mode=rawpy.HighlightMode.Clip,
    )
    to_light = rgb_to_xyz("BT.709") @ raw.color_matrix[:, : colours.shape[2]]
    white = _TOP * _DIMMED * np.maximum(to_light.sum(axis=1), 1e-3)
    light = np.empty((*colours.shape[:2], 3), np.uint16)
    for row in range(light.shape[0]):
        light[row] = np.clip(np.rint(_DIMMED * colours[row] @ to_light.T), 0, _TOP)
    red, green, blue = (float(value) for value in _CLIPPED * white)
    return FullColour(codes=light, black=(0.0, 0.0, 0.0), white=(_TOP, _TOP, _TOP), clip=(red, green, blue), matrix=XYZ)


def _check(raw: rawpy.RawPy, name: str) -> None:
    codes = np.atleast_3d(np.asarray(raw.raw_image_visible, np.uint16))[..., :3]
    black, white = float(min(raw.black_level_per_channel)), float(raw.white_level)
    if not white > black:
        raise FrameError(f"{name} is damaged: its black level is above white.", COPY_AGAIN)
    for plane in (np.ascontiguousarray(codes[..., c]) for c in range(codes.shape[2])):
        if reason := unsound(plane, histogram(plane, np.ones((1, 1), bool)), black, white):
            raise FrameError(f"{name} {reason}.", COPY_AGAIN)
    if not np.abs(raw.color_matrix).any():
        raise FrameError(f"{name} is of a camera whose colours are not known.", DEVELOP)
