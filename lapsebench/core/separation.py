"""Splits what the camera did from what the sky did.

The path M of the dominant gain (see `pairwise`) is scene + received exposure, with received = E + b(setting) + f: E the
camera exposure at true marks, b one bias per setting, f flicker. Scene is smooth in second differences but may turn
sharply (Student t penalties, weights re-estimated: Lange, Little & Taylor 1989); f is white and heavy-tailed; the
stiffness comes from the data by restricted maximum likelihood (Patterson & Thompson 1971). Where the stars tell the
received exposure, path - stars is the scene observed a second time, and a jump is the camera's if the stars see it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapsebench.core.gainpath import path_errors, solve_path
from lapsebench.core.pairwise import Pairs, pair_gains
from lapsebench.core.splitting import split_path
from lapsebench.core.steps import Step, find_steps

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Light:
    """The light of the frames, per frame, shape (n,), stops unless stated; NaN where unknown (unreadable frames).

    `exposure_ev`: camera exposure at true marks. `luminance_ev`: frame luminance as recorded. `received_ev`: exposure
    really received (marks + bias of the setting + flicker), up to one constant a shot. `scene_ev` = luminance - received.
    `flicker_ev`: the part of received that changes from frame to frame. `setting_change`: bool, the frame's shutter,
    ISO or aperture differs from the one before. `clipped`: share of the picture at the top code. `highlight_ev`: the
    brightest parts (99th percentile over tiles and channels), stops below white. `error_ev`: standard error of received
    against the neighbouring frames, see `splitting.split_path`; NaN where the pixels do not tell (spoilt frames too).
    """

    exposure_ev: Floats
    luminance_ev: Floats
    received_ev: Floats
    scene_ev: Floats
    flicker_ev: Floats
    setting_change: Bools
    clipped: Floats
    highlight_ev: Floats
    error_ev: Floats


@dataclass(frozen=True, slots=True)
class Evidence:
    """What is known of one shot's n frames before the split.

    `log_tiles`, `weights`: (n, k) float32, see `pairwise.pair_gains`. `exposure_ev`: (n,) stops, NaN unknown.
    `settings`: n hashable values, equal where shutter, f-number and ISO are. `after_gap`: (n,) bool, time is missing
    before the frame, so the scene may have moved on. `luminance_ev`, `clipped`,
    `highlight_ev`: (n,), NaN for unreadable frames. `direct_received_ev`: (n,) received exposure as the stars tell it, stops
    up to a constant, NaN unknown, and `direct_sd` its standard error. `direct_step_sd`: how far that may be off where the
    marks change, as a share of their change: an estimated curve's slope is not that sure.
    """

    log_tiles: NDArray[np.float32]
    weights: NDArray[np.float32]
    exposure_ev: Floats
    settings: tuple[object, ...]
    after_gap: Bools
    luminance_ev: Floats
    clipped: Floats
    highlight_ev: Floats
    direct_received_ev: Floats | None = None
    direct_sd: Floats | None = None
    direct_step_sd: float = 0.0


@dataclass(frozen=True, slots=True)
class Separated:
    """The light of one shot, the frames (numbers in the shot) whose metadata disagree with the pixels, and the gains.

    `path_sd`: (n,) standard error of the path of gains itself, stops, NaN where there is none.
    """

    light: Light
    disagreeing: tuple[int, ...]
    pairs: Pairs
    path_sd: Floats


def separate(evidence: Evidence, pairs: Pairs | None = None) -> Separated:
    """Return the light of one shot; works with full, partial or no metadata. Gains in `pairs` are not worked out again."""
    n = evidence.exposure_ev.size
    pairs = pair_gains(evidence.log_tiles, evidence.weights, known=pairs)
    path = solve_path(pairs, n)
    path_sd = path_errors(pairs, path)
    known = np.isfinite(evidence.exposure_ev)
    marks = _filled(evidence.exposure_ev)
    changed = _changes(evidence.settings, known)
    direct = None if evidence.direct_received_ev is None else path - evidence.direct_received_ev
    step_sd = evidence.direct_step_sd * np.abs(np.diff(marks, prepend=marks[:1]))
    steps = find_steps(
        path - marks, pairs, changed, trusted=known, direct=direct, direct_sd=evidence.direct_sd, direct_step_sd=step_sd
    )
    marks = marks + _staircase(steps, n)
    groups = _groups(evidence.settings, known, steps)
    split = split_path(
        path - marks,
        groups,
        evidence.after_gap,
        direct=direct,
        direct_sd=evidence.direct_sd,
        direct_step_sd=step_sd,
        path_sd=path_sd,
    )
    received = marks + split.bias + np.nan_to_num(split.flicker)
    received = np.where(np.isfinite(evidence.luminance_ev), received, np.nan)
    unmarked = np.zeros(n, bool)
    unmarked[[step.frame for step in steps if not known[step.frame]]] = True
    light = Light(
        exposure_ev=evidence.exposure_ev,
        luminance_ev=evidence.luminance_ev,
        received_ev=received,
        scene_ev=evidence.luminance_ev - received,
        flicker_ev=split.flicker,
        setting_change=changed | unmarked,
        clipped=evidence.clipped,
        highlight_ev=evidence.highlight_ev,
        error_ev=split.error_ev,
    )
    disagreeing = tuple(step.frame for step in steps if known[step.frame] and known[step.before])
    return Separated(light, disagreeing, pairs, path_sd)


def _filled(exposure: Floats) -> Floats:
    """Return `exposure` with unknown frames taking the last known value (the first, before it); zeros if all unknown."""
    known = np.flatnonzero(np.isfinite(exposure))
    if known.size == 0:
        return np.zeros_like(exposure)
    last = np.clip(np.searchsorted(known, np.arange(exposure.size), side="right") - 1, 0, None)
    filled: Floats = exposure[known[last]]
    return filled


def _changes(settings: tuple[object, ...], known: Bools) -> Bools:
    """Return where a frame's setting differs from that of the last frame with a known one, shape (n,)."""
    changed = np.zeros(len(settings), bool)
    last: object = None
    for i in np.flatnonzero(known):
        changed[i] = last is not None and settings[i] != last
        last = settings[i]
    return changed


def _staircase(steps: tuple[Step, ...], n: int) -> Floats:
    """Return the sum of the steps' jumps from their frame on, shape (n,), stops."""
    jumps = np.zeros(n)
    for step in steps:
        jumps[step.frame] += step.jump_ev
    return np.cumsum(jumps)


def _groups(settings: tuple[object, ...], known: Bools, steps: tuple[Step, ...]) -> NDArray[np.intp]:
    """Return one number per distinct setting and run between found steps, shape (n,): frames that share a bias."""
    run = np.zeros(len(settings), np.intp)
    run[[step.frame for step in steps]] = 1
    runs = np.cumsum(run)
    keys: dict[object, int] = {}
    last: object = None
    groups = np.empty(len(settings), np.intp)
    for i, setting in enumerate(settings):
        last = setting if known[i] else last
        groups[i] = keys.setdefault((last, int(runs[i])), len(keys))
    return groups
