"""Where tiles can't tell camera from sky, the stars and lamps of the pictures are looked at themselves."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, uniform_filter1d

from lapsebench.core.candles import CandleLight, Curve, candle_light
from lapsebench.core.following import Follower, Kind
from lapsebench.core.progress import Tick, silent
from lapsebench.core.response import Origin, Response, any_estimated
from lapsebench.core.separation import Light
from lapsebench.core.sequence import Frame, Shot
from lapsebench.core.sightings import Sighting
from lapsebench.core.whitelight import into_point
from lapsebench.errors import FrameError
from lapsebench.imaging.pointlight import MOST_POINTS, PointMap, find_points, lights_at, point_map, trail_share
from lapsebench.imaging.starpicture import StarPicture

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.intp]


class Look(Protocol):
    """How the frames of a project are looked at, by their numbers in it, and what the stars told is kept."""

    def seen(self, number: int, responses: Sequence[Response]) -> StarPicture:
        """Return a frame as the responses of R, G and B see it. Raises FrameError where it can't be decoded."""

    def recalled(self, numbers: Sequence[int], responses: Sequence[Response]) -> CandleLight | None:
        """Return what the stars told of these frames, seen through these responses, before; None if nothing did."""

    def keep(self, numbers: Sequence[int], responses: Sequence[Response], told: CandleLight) -> None:
        """Keep what the stars told of these frames, seen through these responses."""


_UNSURE_EV = 0.004  # stops: half of the jitter that nobody sees
_FLICKER_EV = 0.01  # stops rms from which on flicker is worth checking
_SAMPLE, _SAMPLE_EVERY = 48, 300  # frames
_CONTRADICTION = 1.3  # times the variance that the stars' own errors explain
_LEAST_SD_EV = 0.002  # stops that nobody minds
_MOST_PART = 0.4  # of the frames: if so many are asked about, all are
_NEAR = 10  # frames
_LEAD = 24  # frames on either side of the unsure ones: points have to be followed for a while
_AROUND = 12  # frames on either side of a setting change seen through a curve that nobody told
_LEAST_FRAMES = 12
_MOST_SIGHTINGS, _LEAST_POINTS = 750_000, 300  # of a run of frames, and of each: thousands of frames need fewer points each
_SPARE = 1.4  # times as many are followed as are found at a time
_WORKERS = 2
_AHEAD = 4


def ask_candles(
    shot: Shot,
    frames: Sequence[Frame],
    light: Light,
    usable: Bools,
    look: Look,
    *,
    responses: Sequence[Response],
    known: CandleLight | None = None,
    tick: Tick = silent,
) -> CandleLight | None:
    """Return the exposures of those frames of a shot, (n,), that the tiles may be wrong about, as stars and lamps tell them.

    Asked about are the frames around those whose exposure is not sure; and where the tiles tell of flicker, some runs of
    frames, and all of them if the stars contradict: a sky that pulsates everywhere looks just like flicker. None where
    nothing is asked. `frames` are the project's, `light` is what the tiles tell, `usable`, (n,), which frames stars may be
    seen in, `responses` those of R, G and B. `known`: what was told when `light` was worked out; returned as it is if there
    is no more to ask. Raises `Cancelled` through `tick`.
    """
    unsure = usable & (np.nan_to_num(light.error_ev, nan=1.0) > _UNSURE_EV)
    asked = np.zeros(usable.size, bool) if known is None else known.count >= 0
    asking = _Asking(shot, frames, light, look, tuple(responses), tick)
    changed = light.setting_change & (asking.curve is not Curve.LINEAR)
    near = _near(unsure) | _near(changed, _AROUND)
    wanted, flickering = near & usable, _flickering(light.flicker_ev) & usable & ~near & ~asked
    samples = _samples(flickering)
    wanted = wanted | samples | asked
    if np.count_nonzero(wanted) > _MOST_PART * np.count_nonzero(usable):
        wanted = usable
    told = asking.told(wanted, known)
    doubted = flickering & _near(samples & _contradicted(light, told, samples), _SAMPLE_EVERY)
    return asking.told(wanted | doubted, told)


def keep_straightened(shot: Shot, told: CandleLight, look: Look, responses: Sequence[Response]) -> None:
    """Keep what the stars told of a shot as seen through `responses`, the curve that was straightened by it."""
    for stretch in _stretches(told.count >= 0):
        part = CandleLight(told.received_ev[stretch], told.sd_ev[stretch], told.count[stretch])
        look.keep([shot.first + int(k) for k in stretch], responses, part)


def filled_in(light: Light, candles: CandleLight) -> Light:
    """Return the light with the exposures of frames that the tiles know nothing of, as the candles tell them."""
    blank = np.isnan(light.flicker_ev) & np.isfinite(candles.received_ev) & np.isfinite(light.luminance_ev)
    both = np.flatnonzero(np.isfinite(light.flicker_ev) & np.isfinite(candles.received_ev))
    if not blank.any() or not both.size:
        return light
    offset = light.received_ev - candles.received_ev
    received, error = light.received_ev.copy(), light.error_ev.copy()
    for k in np.flatnonzero(blank):
        near = both[np.argsort(np.abs(both - k))[:_NEAR]]
        received[k] = candles.received_ev[k] + np.median(offset[near])
        error[k] = candles.sd_ev[k]
    return replace(light, received_ev=received, scene_ev=light.luminance_ev - received, error_ev=error)


@dataclass(frozen=True, slots=True)
class _Asking:
    """What is needed to ask the stars of one shot."""

    shot: Shot
    frames: Sequence[Frame]
    light: Light
    look: Look
    responses: tuple[Response, ...]
    tick: Tick

    def told(self, wanted: Bools, known: CandleLight | None = None) -> CandleLight | None:
        """Return what the stars tell of the wanted frames; `known` if they are too few or it has them all."""
        stretches = _stretches(wanted)
        if not stretches or (known is not None and all((known.count[stretch] >= 0).all() for stretch in stretches)):
            return known
        total, done = sum(stretch.size for stretch in stretches), 0
        received, sd = np.full(wanted.size, np.nan), np.full(wanted.size, np.nan)
        count = np.full(wanted.size, -1)
        bend, most = None, -1
        for stretch in stretches:
            members = [self.shot.first + int(k) for k in stretch]
            recalled = self.look.recalled(members, self.responses)
            told = recalled or self._asked(members, stretch, partial(self._report, done, total))
            received[stretch], sd[stretch], count[stretch] = told.received_ev, told.sd_ev, told.count
            done += stretch.size
            seen = int(np.maximum(told.count, 0).sum())
            if seen > most:
                bend, most = told.bend and told.bend.among(wanted.size, stretch), seen
        return CandleLight(received, sd, count, bend)

    def _asked(self, members: Sequence[int], stretch: Ints, tick: Callable[[int], None]) -> CandleLight:
        times, maps = _times(members, self.frames), _maps(members, self.look, self.responses)
        sightings, kinds, factor = _sighted(times, maps, tick)
        guess_ev, into = self.light.received_ev[stretch], into_point(factor)
        marks_ev = self.light.exposure_ev[stretch]
        told = candle_light(sightings, kinds, guess_ev, curve=self.curve, into=into, marks_ev=marks_ev)
        self.look.keep(members, self.responses, told)
        return told

    @property
    def curve(self) -> Curve:
        """What is known of the curve that the frames are seen through."""
        if any_estimated(self.responses):
            return Curve.ESTIMATED
        linear = self.frames[self.shot.first].balance is not None  # RAW
        chosen = any(response.origin is Origin.OFF for response in self.responses)
        return Curve.LINEAR if linear or chosen else Curve.ASSUMED

    def _report(self, before: int, total: int, done: int) -> None:
        self.tick(before + done, total)


def _near(frames: Bools, reach: int = _LEAD) -> Bools:
    """Return the frames within `reach` of one of `frames`, (n,)."""
    return binary_dilation(frames, iterations=reach) if frames.any() else frames


def _flickering(flicker_ev: Floats) -> Bools:
    """Return where the camera seems to flicker, (n,): a running rms over `_FLICKER_EV`."""
    known = np.isfinite(flicker_ev)
    square = uniform_filter1d(np.where(known, np.nan_to_num(flicker_ev) ** 2, 0.0), 2 * _LEAD + 1, mode="nearest")
    share = uniform_filter1d(known.astype(float), 2 * _LEAD + 1, mode="nearest")
    return np.asarray(square > _FLICKER_EV**2 * np.maximum(share, 0.1))


def _samples(flickering: Bools) -> Bools:
    """Return runs of `_SAMPLE` frames, one for every `_SAMPLE_EVERY` flickering ones, (n,)."""
    frames = np.flatnonzero(flickering)
    chosen = np.zeros(flickering.size, bool)
    for start in range(0, frames.size, _SAMPLE_EVERY):
        run = frames[start : start + _SAMPLE_EVERY]
        middle = max(run.size // 2 - _SAMPLE // 2, 0)
        chosen[run[middle : middle + _SAMPLE]] = True
    return chosen


def _contradicted(light: Light, told: CandleLight | None, samples: Bools) -> Bools:
    """Return the sampled frames around which tiles and stars tell other changes from frame to frame, (n,)."""
    if told is None:
        return np.zeros(samples.size, bool)
    change = np.diff(light.received_ev - told.received_ev, prepend=np.nan)
    stated = 2 * np.nan_to_num(told.sd_ev) ** 2
    known = samples & np.isfinite(change)
    size = _SAMPLE // 2
    seen = uniform_filter1d(np.where(known, np.nan_to_num(change) ** 2, 0.0), size, mode="nearest")
    awaited = uniform_filter1d(np.where(known, stated, 0.0), size, mode="nearest")
    count = uniform_filter1d(known.astype(float), size, mode="nearest")
    return np.asarray(known & (seen > _CONTRADICTION * awaited + 2 * _LEAST_SD_EV**2 * count))


def _stretches(wanted: Bools) -> list[Ints]:
    """Return the wanted frames in runs that no more than `_LEAD` others part; short runs are left out."""
    frames = np.flatnonzero(wanted)
    runs = np.split(frames, np.flatnonzero(np.diff(frames) > _LEAD) + 1)
    return [run for run in runs if run.size >= _LEAST_FRAMES]


def _sighted(
    times: _Times, maps: Iterable[PointMap | None], tick: Callable[[int], None]
) -> tuple[list[Sighting | None], dict[int, Kind], int]:
    """Return what is seen in frames taken at `times`, in order, what the points are, and the pictures' `factor`."""
    sightings: list[Sighting | None] = []
    follower: Follower | None = None
    factor = 1
    most = min(max(_MOST_SIGHTINGS // max(times.taken.size, 1), _LEAST_POINTS), MOST_POINTS)
    early: list[_Early] = []
    for time, shutter, seen in zip(times.taken, times.open, maps, strict=True):
        tick(len(sightings))
        if seen is None or (follower is not None and seen.core.shape != follower.size):
            sightings.append(None)
            continue
        factor = seen.factor
        follower = follower or Follower(seen.core.shape, most=int(_SPARE * most))
        follower.step(float(time), find_points(seen, most=most)[:2])
        one = Sighting(follower.number, lights_at(seen, *follower.star), lights_at(seen, *follower.lamp))
        early.append(_Early(len(sightings), one, follower.star, float(shutter)))
        sightings.append(one)
        if follower.moving:
            for each in early:
                sightings[each.place] = each.untrailed(follower)
            early.clear()
    return sightings, follower.kinds if follower else {}, factor


@dataclass(frozen=True, slots=True)
class _Early:
    """A sighting, number `place`, with stars at `xy` (2, k) px, before the motion that they trail by is known."""

    place: int
    sighting: Sighting
    xy: Floats
    open: float

    def untrailed(self, follower: Follower) -> Sighting:
        """Return it with the stars as bright as if they had not trailed."""
        length = np.hypot(*follower.speed(self.xy)) * self.open
        star = replace(self.sighting.star, light=self.sighting.star.light / trail_share(length))
        return replace(self.sighting, star=star)


@dataclass(frozen=True, slots=True)
class _Times:
    """When frames were taken and how long they were exposed, (n,) each, in units of the usual interval; 0 if unknown."""

    taken: Floats
    open: Floats


def _times(numbers: Sequence[int], frames: Sequence[Frame]) -> _Times:
    """Return the frames' times, counted where the files don't tell."""
    taken = [frames[i].taken for i in numbers]
    counted = _Times(np.arange(len(taken), dtype=float), np.zeros(len(taken)))
    if len(taken) < 2 or any(time is None for time in taken):
        return counted
    seconds = np.array([time.timestamp() for time in taken if time is not None])
    usual = float(np.median(np.diff(seconds)))
    shutters = np.array([frames[i].exposure_s or 0.0 for i in numbers])
    return _Times((seconds - seconds[0]) / usual, shutters / usual) if usual > 0 else counted


def _maps(numbers: Sequence[int], look: Look, responses: Sequence[Response]) -> Iterator[PointMap | None]:
    """Yield the point maps of the frames in order, None where one can't be read, worked out a few frames ahead."""
    with ThreadPoolExecutor(_WORKERS, thread_name_prefix="candles") as pool:
        waiting: deque[Future[PointMap | None]] = deque()
        try:
            for number in numbers:
                waiting.append(pool.submit(_map, number, look, responses))
                if len(waiting) > _AHEAD:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        finally:
            for future in waiting:
                future.cancel()


def _map(number: int, look: Look, responses: Sequence[Response]) -> PointMap | None:
    try:
        picture = look.seen(number, responses)
    except FrameError:
        return None
    return point_map(picture)
