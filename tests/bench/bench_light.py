"""How well camera and sky are told apart: nights of known light, the program beside simpler ways, and the bars to meet.

Run with `python tests/bench/bench_light.py [--seeds N] [--family NAME] [--workers N]`. Prints a table a family; all numbers
are stops unless they say percent, and means over the nights.
"""

from __future__ import annotations

import argparse
import time
import warnings
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import astuple, dataclass

import cv2
import numpy as np
from nights.bands import BANDS, Seen, seen
from nights.baselines import DEFLICKER_SIZES, deflickered, exif_only
from nights.curves import Tone
from nights.families import FAMILIES, Family
from nights.meters import (
    Exposure,
    FaultCount,
    exposure_meters,
    fault_count,
    kept_error,
    pulsation_kept,
    sky_mean_kept,
)
from nights.night import shoot_night
from nights.program import kept_frames, run_program
from nights.realframes import FOLDER
from nights.waves import Floats

WAYS = ("program", "nothing", "EXIF only", *(f"deflicker {size}" for size in DEFLICKER_SIZES))
_PULSATION_BAR, _KEPT_BAR, _STEADY_BAR = 98.0, 2.0, 0.003


@dataclass(frozen=True, slots=True)
class Reading:
    """All meters of one night: `exposure` of each way in `WAYS`, what is `seen` of some ways, and the program's others."""

    exposure: tuple[Exposure, ...]
    seen: dict[str, Seen]
    pulsation: tuple[float, float]
    kept_error: float
    most_gain: float
    faults: FaultCount
    false_cuts: int
    changes: int


def read_night(family: Family, seed: int) -> Reading:
    """Shoot a night, level it in every way, and read the meters."""
    cv2.setNumThreads(1)
    night = shoot_night(family, seed)
    made = run_program(night)
    gains = [made.gain_ev, np.zeros(made.gain_ev.size), exif_only(night)]
    gains += [deflickered(night, size) for size in DEFLICKER_SIZES]
    kept = kept_frames(night, made.shot_light.faults)
    shown = {"program": made.film_gain_ev} | ({"EXIF only": gains[2]} if family.tone is not Tone.SRGB else {})
    return Reading(
        exposure=tuple(exposure_meters(night, gain) for gain in gains),
        seen={
            way: seen(night, gain, made.shot_light.responses, kept=kept) if way == "program" else seen(night, gain)
            for way, gain in shown.items()
        },
        pulsation=(pulsation_kept(night, made.gain_ev), sky_mean_kept(night, made.gain_ev)),
        kept_error=kept_error(night, made.gain_at),
        most_gain=float(np.abs(made.film_gain_ev).max()),
        faults=fault_count(night, made),
        false_cuts=made.false_cuts,
        changes=int(night.change.sum()),
    )


def table(family: Family, readings: list[Reading]) -> Iterator[str]:
    """Yield the lines of one family's table."""
    changes = sum(reading.changes for reading in readings)
    nights = f"{len(readings)} nights of {family.frames} frames, {changes} changes"
    yield f"\n{family.name}: {family.tone}, {family.tells}; {nights}"
    yield f"  {'':13} " + " ".join(f"{column:>10}" for column in _COLUMNS)
    for k, way in enumerate(WAYS):
        means = _means(readings, k, way)
        yield f"  {way:13} " + " ".join(f"{mean:10.4f}" if np.isfinite(mean) else f"{'-':>10}" for mean in means)
        if k == 0:
            yield f"  {'bar':13} " + " ".join(_verdict(*pair) for pair in zip(_bars(family), means, strict=True))
    yield from _other_lines(family, readings)


_COLUMNS = ("jitter", "step", "drift", "corr", "seen jitt.", "seen step", *BANDS)


def _means(readings: list[Reading], k: int, way: str) -> list[float]:
    """Return the means of `_COLUMNS` over the nights for a way, number `k` of `WAYS`; NaN where nothing was read."""
    columns = list(_mean([astuple(reading.exposure[k]) for reading in readings]))
    if way in readings[0].seen:
        pictures = [reading.seen[way] for reading in readings]
        return columns + list(_mean([[picture.jitter, picture.step, *picture.bands] for picture in pictures]))
    return columns + [np.nan] * (2 + len(BANDS))


def _bars(family: Family) -> list[float | None]:
    """Return the bars of `_COLUMNS`: with a camera curve of its own, what is seen counts, else the exposure."""
    bars = family.bars
    pair: list[float | None] = [bars.jitter, bars.step]
    none: list[float | None] = [None, None]
    first, then = (none, pair) if family.tone is not Tone.SRGB else (pair, none)
    return [*first, *none, *then, *[bars.band] * len(BANDS)]


def _verdict(bar: float | None, value: float) -> str:
    if bar is None or not np.isfinite(value):
        return " " * 10
    return f"{bar:g} {'ok' if value <= bar else 'MISS'}".rjust(10)


def _other_lines(family: Family, readings: list[Reading]) -> Iterator[str]:
    """Yield what is told beside the table."""
    if family.steady:
        most = max(reading.most_gain for reading in readings)
        yield f"  most gain {most:.4f}, bar {_STEADY_BAR:g} {'ok' if most < _STEADY_BAR else 'MISS'}"
    patches, whole = _mean([reading.pulsation for reading in readings])
    if np.isfinite(patches):
        verdict = "ok" if patches >= _PULSATION_BAR else "MISS"
        yield f"  contrast kept: patches {patches:.1f} %, bar {_PULSATION_BAR:g} {verdict}; of the mean light {whole:.1f} %"
    kept = _mean([[reading.kept_error] for reading in readings])[0]
    if np.isfinite(kept):
        yield f"  share of slow change off by {kept:.1f} %, bar {_KEPT_BAR:g} {'ok' if kept <= _KEPT_BAR else 'MISS'}"
    missed, false, untold, mistold = (sum(column) for column in zip(*(astuple(r.faults) for r in readings), strict=True))
    cuts = sum(reading.false_cuts for reading in readings)
    yield (
        f"  faults: {missed} missed, {false} false; wrong metadata: {untold} missed, {mistold} false; moves seen where"
        f" there are none: {cuts}"
    )


def _mean(rows: Sequence[Sequence[float] | Floats]) -> Floats:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # a column without any reading stays NaN
        return np.asarray(np.nanmean(np.array(rows, dtype=float), axis=0))


def summary(family: Family, readings: list[Reading]) -> str:
    """Return one line on the program: the jitter, step and worst band that the bars are for."""
    means, bars = _means(readings, 0, WAYS[0]), _bars(family)
    first = 0 if bars[0] is not None else 4
    judged = [(means[first], bars[first]), (means[first + 1], bars[first + 1]), (max(means[6:]), bars[6])]
    return f"{family.name:21} " + " ".join(f"{value:10.4f} {_verdict(bar, value)}" for value, bar in judged)


def chosen(name: str | None) -> list[Family]:
    """Return the families whose name holds `name`, all if None; without the real ones where their files are not there."""
    there = [family for family in FAMILIES.values() if not family.real or (FOLDER / family.real).is_dir()]
    return [family for family in there if name is None or name in family.name]


def main() -> None:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=3, help="nights of each family")
    parser.add_argument("--first-seed", type=int, default=0, help="number of the first night")
    parser.add_argument("--family", help="only families whose name holds this")
    parser.add_argument("--workers", type=int, default=2, help="nights at a time")
    arguments = parser.parse_args()
    seeds = range(arguments.first_seed, arguments.first_seed + arguments.seeds)
    start = time.perf_counter()
    families = chosen(arguments.family)
    with ProcessPoolExecutor(arguments.workers) as pool:
        work = {family.name: [pool.submit(read_night, family, seed) for seed in seeds] for family in families}
        lines: list[str] = []
        for family in families:
            readings = [night.result() for night in work[family.name]]
            print("\n".join(table(family, readings)), flush=True)
            lines.append(summary(family, readings))
    print(f"\n{'all families':21} " + " ".join(f"{column:>10} {'bar':>10}" for column in ("jitter", "step", "worst band")))
    print("\n".join(lines))
    print(f"\n{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
