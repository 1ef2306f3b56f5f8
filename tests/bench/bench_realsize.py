"""The truth bench at the size of a real camera: nights of 24-megapixel JPEG or DNG files, surveyed from the files.

Run with `python tests/bench/bench_realsize.py [--kind jpeg|dng] [--seeds N] [--family NAME]`. A night takes some 1.5 GB
(JPEG) or 6 GB (DNG) of the folder for temporary files while it is read, and some minutes.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from functools import lru_cache, partial
from pathlib import Path

import cv2
import numpy as np
from bench_raw import read_night, write_told
from dng import Sensor, record
from made_files import exif_block
from nights.families import DEEP_BARS, FAMILIES
from nights.realsize import FULL_WELL_E, READ_NOISE_E, RealSize, real_size_night
from PIL import Image

_NIGHTS = (
    "break-up",
    "no ground in view",
    "almost all ground",
    "pulsating patches",
    "quiet arc",
    "dusk to night",
    "moonrise",
    "drifting clouds",
    "S-shaped, break-up",
    "lifted, break-up",
    "shoulder, break-up",
    "no EXIF, break-up",
    "S-shaped, arc",
    "shoulder, dusk",
)
_QUALITY = 95


@lru_cache(maxsize=1)
def _night(name: str, seed: int) -> RealSize:
    return real_size_night(FAMILIES[name], seed)


def write_frame(name: str, seed: int, folder: Path, kind: str, i: int) -> None:
    """Write frame `i` of the night number `seed` of a family as a file."""
    cv2.setNumThreads(1)
    made = _night(name, seed)
    told = made.night.frames[i]
    assert told.taken is not None
    if kind == "dng":
        sensor = Sensor(full_well=FULL_WELL_E * 100 / made.settings[i].names[2], read_noise=READ_NOISE_E)
        codes = record(made.light(i), sensor, random=np.random.default_rng([made.seed, i, 2]))
        write_told(folder / f"N{i:04}.dng", codes, sensor, told)
        return
    shot = {0x829A: told.exposure_s, 0x829D: told.f_number, 0x8827: told.iso and int(told.iso)}
    when = {
        0x9003: told.taken.strftime("%Y:%m:%d %H:%M:%S"),
        0x9291: f"{told.taken.microsecond // 10000:02}",
        0x9011: "+00:00",
    }
    exif = exif_block({tag: value for tag, value in (shot | when).items() if value is not None})
    Image.fromarray(made.codes(i)).save(
        folder / f"N{i:04}.jpg", quality=_QUALITY, subsampling="4:2:2", exif=b"Exif\0\0" + exif
    )


def main() -> None:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kind", choices=("jpeg", "dng"), default="jpeg")
    parser.add_argument("--seeds", type=int, default=1, help="nights of each family")
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--family", default="", help="only the family of this name")
    parser.add_argument("--folder", type=Path, help="keep the files here")
    arguments = parser.parse_args()
    cv2.setNumThreads(1)  # threads begun here would leave the processes that write frames waiting for ever
    for name in (name for name in _NIGHTS if arguments.family in ("", name)):
        bars = DEEP_BARS if arguments.kind == "dng" else FAMILIES[name].bars
        for seed in range(arguments.first_seed, arguments.first_seed + arguments.seeds):
            made = _night(name, seed)
            start = time.perf_counter()
            with tempfile.TemporaryDirectory() as scratch:
                folder = Path(arguments.folder or scratch) / f"{name.replace(' ', '_')}_{seed}_{arguments.kind}"
                folder.mkdir(parents=True, exist_ok=True)
                if len(list(folder.iterdir())) < len(made.night.frames):
                    with ProcessPoolExecutor(2) as pool:
                        write = partial(write_frame, name, seed, folder, arguments.kind)
                        list(pool.map(write, range(len(made.night.frames))))
                written = time.perf_counter()
                jitter, step, kept = read_night(made.night, folder)
            took = f"written in {written - start:.0f} s, surveyed in {time.perf_counter() - written:.0f} s"
            met = f"{jitter:.4f} / {step:.4f}  bar {bars.jitter} / {bars.step}, slow change {kept:.1f} % off"
            print(f"  {name:20} night {seed}: {met}; {took}", flush=True)


if __name__ == "__main__":
    main()
