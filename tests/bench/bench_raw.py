"""The truth bench on RAW: nights of known light written as DNG files, surveyed from the files, and the bars of linear light.

Run with `python tests/bench/bench_raw.py [--seeds N] [--family NAME]`. Every picture is twice as wide and high as those of
`bench_light.py`, so that a cell of the mosaic has the electrons of one of their pixels.
"""

from __future__ import annotations

import argparse
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
from dng import Sensor, record, write_dng
from nights.families import DEEP_BARS, FAMILIES
from nights.meters import exposure_meters, kept_error
from nights.night import Night, shoot_night
from nights.waves import Random
from numpy.typing import NDArray

from lapsebench.core.filmlight import LightSettings
from lapsebench.core.sequence import Frame
from lapsebench.services.survey import gather, level, survey

_NIGHTS = (
    "break-up",
    "dusk to night",
    "quiet arc",
    "pulsating patches",
    "moonrise",
    "drifting clouds",
    "no ground in view",
    "almost all ground",
    "no EXIF, break-up",
    "auto ISO",
    "manual lens",
)
_READ_NOISE_E = 8.0


def write_night(night: Night, folder: Path, random: Random) -> None:
    """Write the frames of a night as DNG files."""
    for i, (scene, ev, told) in enumerate(zip(night.scenes, night.received_ev, night.frames, strict=True)):
        sensor = Sensor(full_well=night.camera.well_e * 100 / (told.iso or 1600), read_noise=_READ_NOISE_E)
        light = np.repeat(np.repeat(scene * np.float32(2.0**ev), 2, axis=0), 2, axis=1)
        write_told(folder / f"N{i:04}.dng", record(light, sensor, random=random), sensor, told)


def write_told(path: Path, codes: NDArray[np.uint16], sensor: Sensor, told: Frame) -> None:
    """Write the codes of a frame as a DNG that tells what `told` does."""
    assert told.taken is not None
    write_dng(
        path,
        codes,
        sensor,
        exposure_s=told.exposure_s or 0,
        f_number=told.f_number or 0,
        iso=int(told.iso or 0),
        taken=told.taken,
        offset="+00:00",
    )


def read_night(night: Night, folder: Path) -> tuple[float, float, float]:
    """Return jitter and mean step, stops, with all of the sky kept, and `kept_error`, percent, of a night in `folder`."""
    project, _ = gather([folder])
    surveyed = survey(project)
    gain_at = {}
    for share in (1.0, 0.6, 0.0):
        whole = replace(project, light=LightSettings(sky_kept=share, brightness_ev=-12.0), shots=surveyed.project.shots)
        gain_at[share] = np.nan_to_num(level(replace(surveyed, project=whole), whole).gain_ev)
    meters = exposure_meters(night, gain_at[1.0])
    return meters.jitter, meters.step, kept_error(night, gain_at)


def main() -> None:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=2, help="nights of each family")
    parser.add_argument("--family", default="", help="only families whose name holds this")
    arguments = parser.parse_args()
    print(f"jitter and step in stops; bars {DEEP_BARS.jitter} and {DEEP_BARS.step}")
    for name in (name for name in _NIGHTS if arguments.family in name):
        read = []
        for seed in range(arguments.seeds):
            night = shoot_night(FAMILIES[name], seed)
            with tempfile.TemporaryDirectory() as folder:
                write_night(night, Path(folder), np.random.default_rng(seed))
                read.append(read_night(night, Path(folder)))
            print(
                f"  {name:20} night {seed}: {read[-1][0]:.4f} / {read[-1][1]:.4f}, kept {read[-1][2]:.1f} % off", flush=True
            )
        jitter, step, _ = np.mean(read, axis=0)
        met = jitter <= (DEEP_BARS.jitter or 0) and step <= (DEEP_BARS.step or 0)
        print(f"{name:22} {jitter:.4f} / {step:.4f}  {'met' if met else 'missed'}", flush=True)


if __name__ == "__main__":
    main()
