"""Clocks of several cameras set by the light that they saw: what a survey tells of them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.bodies import Body, bodies_of, body_of, middle_of_exposure, offset_s
from lapsebench.core.clocks import Proposal, proposed_offset
from lapsebench.core.project import Project
from lapsebench.services.survey import Survey

_RIGHT_S = 2.0  # a clock within this of the other is right: most tell whole seconds
_SURE_ERRORS = 3.0

Floats = NDArray[np.float64]
_Part = tuple[Floats, Floats]


@dataclass(frozen=True, slots=True)
class ClockProposal:
    """By the light, `body`'s clock goes with `reference`'s when its offset is `offset_s`; now it is `proposal.seconds` less.

    `right`: that is so little that nothing need be done.
    """

    body: Body
    reference: Body
    offset_s: float
    proposal: Proposal

    @property
    def right(self) -> bool:
        """Whether the clock is right as it is, as far as the light can tell."""
        return abs(self.proposal.seconds) <= max(_RIGHT_S, _SURE_ERRORS * self.proposal.error_s)


def clock_proposals(survey: Survey, project: Project) -> tuple[ClockProposal, ...]:
    """Return what the light says of each clock against the first camera's, as `project` has them set; unclear ones not.

    Every shot of one is compared with every shot of the other. Where two of them are clear and contradict each other,
    nothing is proposed.
    """
    bodies = bodies_of(project.frames)
    if len(bodies) < 2:
        return ()
    parts = _parts(survey, project)
    found = ((body, _agreed(parts[bodies[0]], parts[body])) for body in bodies[1:])
    return tuple(_against(project, bodies[0], body, proposal) for body, proposal in found if proposal)


def _against(project: Project, reference: Body, body: Body, proposal: Proposal) -> ClockProposal:
    return ClockProposal(body, reference, offset_s(project.clocks, body) + proposal.seconds, proposal)


def _parts(survey: Survey, project: Project) -> dict[Body, list[_Part]]:
    """Return times and scene light of each shot's good frames, by body: light is known up to a constant a shot."""
    middle = middle_of_exposure(project.frames, project.clocks)
    parts: dict[Body, list[_Part]] = defaultdict(list)
    for shot in project.shots:
        body = next((found for i in shot.frames if (found := body_of(project.frames[i]))), None)
        if body is None:
            continue
        good = [i for i in shot.frames if project.keeps(i) and body_of(project.frames[i]) == body]
        times = [middle(project.frames[i]) for i in good]
        seconds = np.array([np.nan if time is None else time for time in times], float)
        parts[body].append((seconds, survey.light.scene_ev[good]))
    return parts


def _agreed(first: list[_Part], second: list[_Part]) -> Proposal | None:
    """Return the surest proposal of all pairs of shots if no other contradicts it."""
    clear = list(_clear(first, second))
    best = max(clear, key=lambda proposal: proposal.z, default=None)
    if best is None:
        return None
    apart = (abs(other.seconds - best.seconds) - _SURE_ERRORS * (other.error_s + best.error_s) for other in clear)
    return best if max(apart) <= _RIGHT_S else None


def _clear(first: list[_Part], second: list[_Part]) -> Iterator[Proposal]:
    for a, b in product(first, second):
        proposal = proposed_offset(*a, *b)
        if proposal is not None:
            yield proposal
