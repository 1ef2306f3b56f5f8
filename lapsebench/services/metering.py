"""Measures within the metering area of a shot: finds the horizon and weighs the tiles."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.area import AreaKind, MeteringArea, coverage, with_horizon
from lapsebench.core.faults import Tiles
from lapsebench.core.horizon import Horizon, find_horizon
from lapsebench.core.pairwise import tiles_worth
from lapsebench.core.project import Project
from lapsebench.core.response import Response
from lapsebench.core.separation import Evidence
from lapsebench.services.tilelight import highlight_ev, luminance_ev

_LEAST_TILES = 8.0  # of full weight, over all channels, that tell a gain between two frames
_INSIDE = 0.5  # a tile counts for the brightest parts from this share on


@dataclass(frozen=True, slots=True)
class Metering:
    """What was measured of a shot: the `horizon` found (None: none) and the area that was `used`, its horizon filled in.

    `problem`: why the whole picture was used in place of the area that was wanted.
    """

    horizon: Horizon | None = None
    used: MeteringArea = field(default_factory=MeteringArea)
    problem: str = ""


def metered(
    evidence: Evidence,
    tiles: Tiles,
    wanted: MeteringArea,
    good: NDArray[np.bool_],
    *,
    responses: tuple[Response, ...],
) -> tuple[Evidence, Metering]:
    """Return the evidence within the wanted area, and what was measured.

    `good`: (n,) frames to find the horizon by. `responses`: of R, G and B, that the evidence was seen through.
    """
    horizon = find_horizon(tiles.rgb, good)
    if wanted.kind is AreaKind.WHOLE:
        return evidence, Metering(horizon)
    area = with_horizon(wanted, horizon.skyline) if wanted.by_horizon and horizon else wanted
    if area.by_horizon and not area.horizon:
        why = "No horizon was found: the whole picture is measured. Draw the horizon, or choose another metering area."
        return evidence, Metering(None, problem=why)
    share = coverage(area, *tiles.rgb.shape[1:3])
    few = share.ravel()[tiles_worth(tiles.rgb.shape[0], share.size)]
    within = evidence.weights * np.tile(few, 3)  # of R, then G, then B
    if not _measurable(within, good, least=_LEAST_TILES * few.size / share.size):
        why = "The metering area is too small, too dark or too bright to measure: the whole picture is measured instead."
        return evidence, Metering(horizon, problem=why)
    mean = luminance_ev(tiles, responses, share)
    highlight = highlight_ev(tiles, responses, share >= min(_INSIDE, float(share.max())))
    return replace(evidence, weights=within, luminance_ev=mean, highlight_ev=highlight), Metering(horizon, area)


def metered_by(project: Project, area: MeteringArea) -> Project:
    """Return the project with every shot measured by `area`."""
    return replace(project, shots=tuple(replace(shot, area=area) for shot in project.shots))


def told(meterings: Sequence[Metering]) -> list[str]:
    """Return for the user what could not be measured as wanted, once each."""
    return list(dict.fromkeys(metering.problem for metering in meterings if metering.problem))


def _measurable(weights: NDArray[np.float32], good: NDArray[np.bool_], *, least: float) -> bool:
    """Whether most of the good frames have tiles enough."""
    enough = weights[good].sum(axis=1) >= least
    return bool(enough.size == 0 or enough.mean() > 0.5)
