"""The light and the faults of one shot, from its measures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.exposure import exposure_ev, guess_marks
from lapsebench.core.faults import Tiles, black_frames, blown_frames, stray_light_frames, usable_tiles
from lapsebench.core.metering import COLS, LEAST_LIGHT, ROWS, FrameMeasure
from lapsebench.core.response import Response, estimate_response, srgb_response
from lapsebench.core.separation import Evidence, Light, Separated, separate
from lapsebench.core.sequence import SPOILT, Fault, Frame, Shot
from lapsebench.core.shots import MOVED, moved_frames, split_shot
from lapsebench.core.transfer import luminance

Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class ShotLight:
    """Light of one shot, the response of R, G, B, the faults found by project frame number, and notes for the user."""

    light: Light
    responses: tuple[Response, ...]
    faults: dict[int, frozenset[Fault]]
    notes: tuple[str, ...]


def light_of_shot(shot: Shot, frames: Sequence[Frame], measures: Sequence[FrameMeasure | None]) -> ShotLight:
    """Return the light of `shot`; `frames` and `measures` are the whole project's."""
    tiles = _stacked([measures[i] for i in shot.frames])
    members = [frames[i] for i in shot.frames]
    blown, black = blown_frames(tiles), black_frames(tiles)
    spoilt = blown | black | np.array([bool(frame.faults & SPOILT) for frame in members])
    evidence, responses = _evidence(tiles, members, spoilt)
    separated = separate(evidence)
    stray = stray_light_frames(tiles, separated.light.received_ev, tiles.readable & ~spoilt)
    if stray.any():
        evidence.weights[stray] = 0
        separated = separate(evidence, separated.pairs)
    disagreeing = np.isin(np.arange(len(members)), separated.disagreeing)
    found = {Fault.BLOWN: blown, Fault.BLACK: black, Fault.STRAY_LIGHT: stray, Fault.METADATA: disagreeing}
    faults = {
        shot.first + k: frozenset(fault for fault, where in found.items() if where[k])
        for k in range(len(members))
        if any(where[k] for where in found.values())
    }
    return ShotLight(separated.light, responses, faults, tuple(_notes(members, separated)))


def at_moves(shot: Shot, frames: Sequence[Frame], measures: Sequence[FrameMeasure | None]) -> tuple[Shot, ...]:
    """Return `shot` cut where the pictures show that the camera was aimed anew."""
    tiles = _stacked([measures[i] for i in shot.frames])
    spoilt = np.array([bool(frames[i].faults & SPOILT) for i in shot.frames])
    usable = tiles.readable & ~spoilt & ~blown_frames(tiles) & ~black_frames(tiles)
    starts = [shot.first + k for k in moved_frames(luminance(tiles.rgb), usable)]
    return split_shot(shot, starts, MOVED)


def _stacked(measures: Sequence[FrameMeasure | None]) -> Tiles:
    """Return the measures as arrays; NaN for frames without one or with another grid than most."""
    shapes = [measure.clipped.shape[:2] for measure in measures if measure is not None]
    shape = max(set(shapes), key=shapes.count) if shapes else (ROWS, COLS)
    rgb = np.full((len(measures), *shape, 3), np.nan, np.float32)
    clipped = np.full_like(rgb, np.nan)
    for k, measure in enumerate(measures):
        if measure is not None and measure.clipped.shape[:2] == shape:
            rgb[k], clipped[k] = measure.tiles, measure.clipped
    return Tiles(rgb, clipped)


def _evidence(tiles: Tiles, frames: Sequence[Frame], spoilt: Bools) -> tuple[Evidence, tuple[Response, ...]]:
    """Return the evidence of the shot, every channel's tiles as stops of light, and the responses of R, G and B.

    The stops are those of sRGB, in which the gains are applied: what is measured and what is done agree on average. The
    camera's own response is reported.
    """
    exposure = _exposure(frames)
    n = len(frames)
    light = np.moveaxis(tiles.known_rgb, 3, 0).reshape(3, n, -1)
    usable = np.moveaxis(usable_tiles(tiles, spoilt), 3, 0).reshape(3, n, -1)
    responses = tuple(estimate_response(light[c], usable[c], exposure) for c in range(3))
    seen = [replace(srgb_response(), black_code=responses[c].black_code).seen(light[c]) for c in range(3)]
    mean = luminance(tiles.rgb).mean(axis=(1, 2), dtype=float)
    evidence = Evidence(
        log_tiles=np.concatenate([ev for ev, _ in seen], axis=1),
        weights=np.concatenate([usable[c] * weight for c, (_, weight) in enumerate(seen)], axis=1),
        exposure_ev=exposure,
        settings=tuple(frame.setting for frame in frames),
        after_gap=np.array([Fault.GAP in frame.faults for frame in frames]),
        luminance_ev=np.log2(np.maximum(mean, LEAST_LIGHT)),
        clipped=tiles.clipped_share,
        highlight_ev=np.log2(np.maximum(tiles.highlight, LEAST_LIGHT)),
    )
    return evidence, responses


def _exposure(frames: Sequence[Frame]) -> NDArray[np.float64]:
    """Return the camera exposure of each frame, stops at the true marks of the dial the times tell of; NaN unknown."""
    marks = guess_marks([frame.exposure_s for frame in frames if frame.exposure_s])
    known = [exposure_ev(*frame.setting, marks=marks) for frame in frames]
    return np.array([np.nan if ev is None else ev for ev in known])


def _notes(frames: Sequence[Frame], separated: Separated) -> list[str]:
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
    return notes
