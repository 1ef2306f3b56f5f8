"""Pictures for the screen: a frame as shot or as it will be in the film, at the size it is shown."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.curves import Responses
from lapsebench.core.formatfacts import FilmKind
from lapsebench.core.formats import FilmFormat
from lapsebench.core.gains import GainEv, plain_gain
from lapsebench.core.metering import FrameMeasure
from lapsebench.core.sequence import Frame
from lapsebench.imaging.apply import (
    WHITE,
    apply_gain,
    apply_gain_to_jpeg,
    codes_of_light,
    light_of_codes,
    light_of_linear,
    light_of_raw,
)
from lapsebench.imaging.deep import deep_of_codes, deep_of_linear, deep_of_raw
from lapsebench.imaging.framing import Placing, scaled
from lapsebench.io.read import to_linear
from lapsebench.services.balances import shown_codes
from lapsebench.services.finish import PLAIN, Finish
from lapsebench.services.stills import Developed, Still, cut_still, plain, read_still, size_of


def picture(
    frame: Frame, gain_ev: GainEv, *, long_side: int | None = None, responses: Responses = (), finish: Finish = PLAIN
) -> NDArray[np.uint8]:
    """Return the frame with `gain_ev` applied, (h, w, 3) sRGB, from the source file; `long_side` None is full size.

    `gain_ev`: stops, one or of R, G and B, none where not known. `responses`: those of R, G and B that the gain was measured
    through, none for sRGB; here and below.

    The longer side has at most `long_side` pixels; smaller sources are not enlarged. FrameError where it can't be decoded.
    """
    read = read_still(frame, min_long_side=long_side)
    width, height = size_of(read)
    scale = min(1.0, long_side / max(width, height)) if long_side else 1.0
    size = max(1, round(width * scale)), max(1, round(height * scale))
    return rendered(read, gain_ev, Placing((0, 0, width, height), size), responses, finish)


def small_picture(
    measure: FrameMeasure, frame: Frame, gain_ev: GainEv, responses: Responses = (), finish: Finish = PLAIN
) -> NDArray[np.uint8]:
    """Return the frame's small picture as `picture` would be, (h, w, 3) sRGB: fast enough for playback."""
    return finish.on_codes(shown_codes(apply_gain_to_jpeg(measure.proxy, finish.gain(gain_ev), responses), frame))


def with_gain(
    pixels: NDArray[np.uint8], gain_ev: GainEv, responses: Responses = (), finish: Finish = PLAIN
) -> NDArray[np.uint8]:
    """Return sRGB `pixels`, (h, w, 3), with `gain_ev` and the look applied: what a slider shows while it moves."""
    return finish.on_codes(apply_gain(pixels, finish.gain(gain_ev), responses))


def rendered(
    read: Still, gain_ev: GainEv, placing: Placing, responses: Responses = (), finish: Finish = PLAIN
) -> NDArray[np.uint8]:
    """Return what film and screen show of a still: its box with gain and look, in sRGB codes at the placing's size."""
    if not finish.is_plain or placing.patch is not None:
        light = film_light(read, gain_ev, placing, responses, headroom=False, finish=finish)
        return codes_of_light(np.rint(np.clip(light, 0, 1) * np.float32(WHITE)).astype(np.uint16))
    read, gain_ev = cut_still(read, placing.box), finish.gain(gain_ev)
    if isinstance(read, Developed):
        steps = light_of_raw(read.light, gain_ev)
    elif not read.is_srgb:
        steps = light_of_linear(to_linear(read), gain_ev, responses)
    elif read.codes.dtype == np.uint8 and not placing.resamples:
        return apply_gain(read.codes.astype(np.uint8, copy=False), gain_ev, responses)
    else:
        steps = light_of_codes(read.codes, gain_ev, responses)
    return codes_of_light(scaled(steps, placing.size))


def film_picture(
    read: Still,
    gain_ev: GainEv,
    placing: Placing,
    responses: Responses = (),
    *,
    form: FilmFormat,
    finish: Finish = PLAIN,
) -> NDArray[np.uint8] | NDArray[np.float32]:
    """Return what a film of format `form` is made of, at the placing's size: sRGB codes, or light, see `film_light`.

    Codes where the still has no more than 8 bits of sRGB to tell and they can go in as they are, or by one table for 8 bits;
    loops get codes, for dither would swell them.
    """
    facts = form.facts
    one_table = plain_gain(finish.gain(gain_ev)) == 0 or not (facts.deep or facts.headroom)
    straight = plain(read) and finish.is_plain and not placing.resamples and one_table
    if straight or facts.kind is FilmKind.ANIMATION:
        return rendered(read, gain_ev, placing, responses, finish)
    return film_light(read, gain_ev, placing, responses, headroom=facts.headroom, finish=finish)


def film_light(
    read: Still,
    gain_ev: GainEv,
    placing: Placing,
    responses: Responses = (),
    *,
    headroom: bool,
    finish: Finish = PLAIN,
) -> NDArray[np.float32]:
    """Return the same as `rendered` in linear light, float (h, w, 3), 1 = white; `headroom` keeps what is above."""
    read, gain_ev = cut_still(read, placing.box), finish.gain(gain_ev)
    if isinstance(read, Developed):
        light = deep_of_raw(read.light, gain_ev, headroom=headroom)
    elif read.is_srgb:
        light = deep_of_codes(read.codes, gain_ev, responses, headroom=headroom)
    else:
        light = deep_of_linear(to_linear(read), gain_ev, responses, headroom=headroom)
    return finish.on_light(placing.fitted(light), headroom=headroom)
