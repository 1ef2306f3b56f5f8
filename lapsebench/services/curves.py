"""Finds the cameras' curves of a project in the measures of its frames."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lapsebench.core.curves import CameraCurve, kind_of
from lapsebench.core.faults import Tiles
from lapsebench.core.metering import FrameMeasure
from lapsebench.core.response_fit import fit_responses
from lapsebench.core.response_samples import Around, frames_at_changes
from lapsebench.core.sequence import SPOILT, Frame, Shot
from lapsebench.services.tilelight import around_changes, exposures


def curves_of(
    known: Sequence[CameraCurve], shots: Sequence[Shot], frames: Sequence[Frame], measures: Sequence[FrameMeasure | None]
) -> tuple[CameraCurve, ...]:
    """Return the curve of every kind of picture: one `known` from pictures as it is, else what all shots of it tell."""
    found = {curve.kind: curve for curve in known if curve.estimated}
    told: dict[str, list[Around]] = {}
    for shot in shots:
        kind = kind_of(frames[shot.first])
        linear = frames[shot.first].balance is not None  # RAW: light is light
        if kind not in found and not linear:
            told.setdefault(kind, []).append(_told(shot, frames, measures))
    for kind, parts in told.items():
        found[kind] = CameraCurve(kind, fit_responses(parts))
    return tuple(found.values())


def _told(shot: Shot, frames: Sequence[Frame], measures: Sequence[FrameMeasure | None]) -> Around:
    """Return the frames around the setting changes of a shot."""
    members = [frames[i] for i in shot.frames]
    own = [measures[i] for i in shot.frames]
    exposure_ev = exposures(members)
    usable = np.array([m is not None and not f.faults & SPOILT for m, f in zip(own, members, strict=True)])
    chosen = frames_at_changes(exposure_ev, usable)
    shown = [(k, measure) for k in chosen if (measure := own[k]) is not None]
    shapes = [measure.tiles.shape for _, measure in shown]
    shown = [(k, measure) for k, measure in shown if measure.tiles.shape == max(set(shapes), key=shapes.count)]
    if not shown:
        nothing = np.empty((0, 1, 1, 3), np.float32)
        return around_changes(Tiles(nothing, nothing), np.empty(0))
    tiles = Tiles(np.stack([m.tiles for _, m in shown]), np.stack([m.clipped for _, m in shown]))
    return around_changes(tiles, exposure_ev[[k for k, _ in shown]])
