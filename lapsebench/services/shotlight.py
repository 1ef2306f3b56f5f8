"""The light and the faults of one shot, from its measures."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import partial

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.bumps import suspects
from lapsebench.core.colourdrift import colour_drift
from lapsebench.core.faults import Tiles, stray_light_frames
from lapsebench.core.metering import FrameMeasure
from lapsebench.core.progress import Tick, silent
from lapsebench.core.response import Response
from lapsebench.core.separation import Evidence, Light, Separated, separate
from lapsebench.core.sequence import SPOILT, Fault, Frame, Shot
from lapsebench.core.shots import MOVED, moved_frames, split_shot
from lapsebench.core.uncertainty import SURE_ERRORS, uncertain_frames
from lapsebench.services.bumped import bumped_frames
from lapsebench.services.candles import Look, ask_candles, keep_straightened
from lapsebench.services.metering import Metering, metered
from lapsebench.services.starcurve import Asking, View, with_stars
from lapsebench.services.tilelight import exposures, highlight_ev, luminance_ev, responses_of, seen_tiles, tiles_of

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ShotLight:
    """Light of one shot, the response of R, G, B, the faults by project frame number, notes for the user, the metering.

    `colour_ev`: (n, 3) stops of R, G and B that take the camera's own changes of colour out, see `core.colourdrift`.
    """

    light: Light
    responses: tuple[Response, ...]
    faults: dict[int, frozenset[Fault]]
    notes: tuple[str, ...]
    colour_ev: Floats
    metering: Metering = field(default_factory=Metering)


def light_of_shot(
    shot: Shot,
    frames: Sequence[Frame],
    measures: Sequence[FrameMeasure | None],
    *,
    responses: tuple[Response, ...] | None = None,
    tiles: Tiles | None = None,
    look: Look | None = None,
    tick: Tick = silent,
) -> ShotLight:
    """Return the light of `shot`; `frames` and `measures` are the whole project's.

    `responses`: of R, G and B, to measure through; None finds those that the shot tells. `tiles`: those
    of the shot, if at hand. `look` lets the stars be asked where the tiles are not sure; `tick` reports that and may raise
    `Cancelled`.
    """
    tiles = tiles or tiles_of(shot, measures)
    members = [frames[i] for i in shot.frames]
    blown, black = tiles.blown, tiles.black
    unusable = np.array([bool(frame.faults & SPOILT) for frame in members])
    spoilt = blown | black | unusable
    good = tiles.readable & ~spoilt

    def through(curve: tuple[Response, ...] | None, left_out: Bools) -> View:
        seen, curve, colour = _evidence(tiles, members, spoilt, curve)
        seen, area = metered(seen, tiles, shot.area, good, responses=curve)
        seen.weights[left_out] = 0
        return View(seen, curve, colour, area)

    with ThreadPoolExecutor(1) as beside:
        places = beside.submit(suspects, tiles.light, good)  # most nights hold no stray light
        view = through(responses, spoilt)
        separated = separate(view.evidence)
        stray = stray_light_frames(tiles, separated.light.received_ev, good)
    sound = good & ~stray
    bumped = bumped_frames(shot, measures, sound, suspects(tiles.light, sound) if stray.any() else places.result())
    if (stray | bumped).any():
        view.evidence.weights[stray | bumped] = 0
        separated = separate(view.evidence, separated.pairs)
    usable = tiles.readable & ~black & ~stray & ~bumped & ~unusable  # in blown frames some stars are not
    if look is not None:
        marks = view.evidence.exposure_ev
        asking = Asking(
            ask=partial(ask_candles, shot, frames, usable=usable, look=look, tick=tick),
            told=lambda hint: responses_of(tiles, marks, spoilt, hint=hint),
            seen=lambda curve: through(curve, stray | bumped),
            keep=lambda candles, curve: keep_straightened(shot, candles, look, curve),
        )
        view, separated = with_stars(view, separated, asking)
    disagreeing = np.isin(np.arange(len(members)), separated.disagreeing)
    uncertain = uncertain_frames(separated.light.error_ev, spoilt | stray | bumped)
    found = {
        Fault.BLOWN: blown,
        Fault.BLACK: black,
        Fault.STRAY_LIGHT: stray,
        Fault.BUMPED: bumped,
        Fault.METADATA: disagreeing,
        Fault.UNCERTAIN: uncertain,
    }
    faults = {
        shot.first + k: frozenset(fault for fault, where in found.items() if where[k])
        for k in range(len(members))
        if any(where[k] for where in found.values())
    }
    notes = (*_notes(members, separated, uncertain), *_colour_notes(view.colour_ev))
    return ShotLight(separated.light, view.responses, faults, notes, view.colour_ev, view.metering)


def at_moves(
    shot: Shot, frames: Sequence[Frame], measures: Sequence[FrameMeasure | None], *, tiles: Tiles | None = None
) -> tuple[Shot, ...]:
    """Return `shot` cut where the pictures show that the camera was aimed anew; `tiles` as in `light_of_shot`."""
    tiles = tiles or tiles_of(shot, measures)
    spoilt = np.array([bool(frames[i].faults & SPOILT) for i in shot.frames])
    usable = tiles.readable & ~spoilt & ~tiles.blown & ~tiles.black
    starts = [shot.first + k for k in moved_frames(tiles.light, usable)]
    return split_shot(shot, starts, MOVED)


def _evidence(
    tiles: Tiles, frames: Sequence[Frame], spoilt: Bools, responses: tuple[Response, ...] | None
) -> tuple[Evidence, tuple[Response, ...], Floats]:
    """Return the evidence of the shot, every channel's tiles as stops of light, the responses of R, G, B, and `colour_ev`.

    The stops are those of the responses given, else of those that the shot itself tells; gains are to be applied through
    the same ones. What the camera did to the colour is out of the tiles: R, G and B all tell of one exposure.
    """
    exposure = exposures(frames)
    with ThreadPoolExecutor(1) as beside:  # what one thread is enough for is done two things at a time
        beside.submit(lambda: tiles.highlight)
        responses = responses or responses_of(tiles, exposure, spoilt)
        luminance = beside.submit(luminance_ev, tiles, responses)
        highlight = beside.submit(highlight_ev, tiles, responses)
        seen = seen_tiles(tiles, spoilt, responses)
        colour_ev = colour_drift(seen.log_tiles, seen.weights, exposure)
    log_tiles = seen.log_tiles
    if colour_ev.any():
        log_tiles = log_tiles + np.repeat(colour_ev, log_tiles.shape[1] // 3, axis=1).astype(np.float32)
    evidence = Evidence(
        log_tiles=log_tiles,
        weights=seen.weights,
        exposure_ev=exposure,
        settings=tuple(frame.setting for frame in frames),
        after_gap=np.array([Fault.GAP in frame.faults for frame in frames]),
        luminance_ev=luminance.result(),
        clipped=tiles.clipped_share,
        highlight_ev=highlight.result(),
    )
    return evidence, responses, colour_ev


def _colour_notes(colour_ev: Floats) -> list[str]:
    """Return what the user should know of colour that the camera changed by itself."""
    if not colour_ev.any():
        return []
    most = np.ptp(colour_ev[:, [0, 2]] - colour_ev[:, [1]], axis=0).max()
    return [f"The white balance wandered by up to {most:.2f} stop. 'Even the colour' in section Light takes it out."]


def _notes(frames: Sequence[Frame], separated: Separated, uncertain: Bools) -> list[str]:
    """Return what the user should know of how the light was found."""
    notes = []
    readable = [frame for frame in frames if frame.readable]
    unknown = sum(frame.exposure_ev is None for frame in readable)
    if unknown == len(readable) > 0:
        notes.append("No exposure settings in the files: the camera's steps were found from the pictures alone.")
    elif unknown:
        notes.append(f"{unknown} frames do not tell their exposure settings: theirs were found from the pictures.")
    if separated.disagreeing:
        notes.append(
            f"At {len(separated.disagreeing)} frames the pictures do not follow the recorded settings; the pictures decide."
        )
    count = np.count_nonzero(uncertain)
    if count:
        most = SURE_ERRORS * separated.light.error_ev[uncertain].max()
        what = "1 frame: exposure uncertain by" if count == 1 else f"{count} frames: exposure uncertain by up to"
        notes.append(f"{what} {most:.2f} stop. Look there in the film; hold it with a peg, or leave frames out.")
    return notes
