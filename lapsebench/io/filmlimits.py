"""Which sizes and rates a film format can carry."""

from __future__ import annotations

from fractions import Fraction

from lapsebench.core.formatfacts import FilmKind
from lapsebench.core.formats import FilmFormat
from lapsebench.errors import OutputError

# Level 6.2, the highest of Rec. ITU-T H.264 table A-1: blocks of 16 x 16 pixels in a frame and in a second.
_MAX_SIDE, _MAX_BLOCKS, _MAX_BLOCK_RATE = 8192, 139_264, 16_711_680
_MAX_FPS = 240
_MAX_LONG_SIDE = 16_384  # of the others; HEVC's level 6.2 (Rec. ITU-T H.265 table A.8) allows 16,888
_MIN_DNXHR = (256, 120)  # of SMPTE ST 2019-1, from memory; the encoder refuses smaller ones


def check_size(size: tuple[int, int], fps: Fraction, form: FilmFormat = FilmFormat.H264) -> None:
    """Raise OutputError where the format can't carry a film of `size` = (width, height) at `fps`."""
    width, height = size
    if width % 2 or height % 2 or min(size) < 2:
        raise OutputError(f"A film can't be {width} x {height} pixels.", "Choose an even width and height.")
    blocks = -(-width // 16) * -(-height // 16)
    h264 = form is FilmFormat.H264
    too_large = max(size) > (_MAX_SIDE if h264 else _MAX_LONG_SIDE) or width * height > form.facts.max_pixels
    if too_large or (h264 and blocks > _MAX_BLOCKS):
        raise OutputError(f"A film of {width} x {height} pixels is larger than players can show.", "Choose a smaller size.")
    if form is FilmFormat.DNXHR and (width < _MIN_DNXHR[0] or height < _MIN_DNXHR[1]):
        raise OutputError(f"A DNxHR film can't be as small as {width} x {height} pixels.", "Choose a larger size.")
    if not 0 < fps <= _MAX_FPS or (h264 and fps * blocks > _MAX_BLOCK_RATE):
        raise OutputError(
            f"A film of {width} x {height} pixels can't run at {float(fps):g} frames a second.",
            "Choose a smaller size or another rate.",
        )
    if form.facts.kind is FilmKind.ANIMATION and max(size) > TEASER_SIDE:
        raise OutputError(f"A loop of {width} x {height} pixels is too large to send.", f"Stay within {TEASER_SIDE} pixels.")


TEASER_SIDE = 640
"""Pixels that the longer side of an animation has at most."""
