"""Makes the demo night: `python resources/demo_night/make.py [--out sample_frames]` writes the frames and their truth."""

import argparse
import json
import os
import sys
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import cv2

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from demo_night.camera import jpeg_of, photograph
from demo_night.plan import PlannedFrame, plan_night

_DEFAULT_OUT = Path(__file__).resolve().parents[2] / "sample_frames"


def make_frame(index: int, folder: Path) -> int:
    """Render, photograph and write frame `index`; returns the bytes written."""
    cv2.setNumThreads(1)
    frame = plan_night()[index]
    return (folder / frame.file).write_bytes(jpeg_of(photograph(frame), frame))


def truth_entry(frame: PlannedFrame) -> dict[str, Any]:
    """What really happened in one frame; light in stops."""
    return {
        "file": frame.file,
        "time": frame.time.isoformat(timespec="milliseconds"),
        "received_ev": round(frame.received_ev, 6),
        "marks_ev": round(frame.marks_ev, 6),
        "bias_ev": round(frame.bias_ev, 6),
        "flicker_ev": round(frame.flicker_ev, 6),
        "scene_ev": round(frame.scene_ev, 6),
        "faults": list(frame.faults),
        "setting_change": frame.setting_change,
    }


def write_truth(folder: Path) -> None:
    """Write `truth.json` beside the frames."""
    truth = {"format": "lapsebench.truth", "version": 1, "frames": [truth_entry(frame) for frame in plan_night()]}
    (folder / "truth.json").write_text(json.dumps(truth, indent=1) + "\n", encoding="utf-8")


def main(arguments: Sequence[str] | None = None) -> None:
    """Make the whole night in a folder, with as many processes as there are cores."""
    parser = argparse.ArgumentParser(description="Make the demo night.")
    parser.add_argument("--out", type=Path, default=_DEFAULT_OUT, help="folder to write to")
    folder: Path = parser.parse_args(arguments).out
    folder.mkdir(parents=True, exist_ok=True)
    began = time.monotonic()
    frames = range(len(plan_night()))
    with ProcessPoolExecutor(max_workers=os.cpu_count()) as pool:
        total = sum(pool.map(make_frame, frames, [folder] * len(frames)))
    write_truth(folder)
    print(f"{len(frames)} frames, {total / 1e6:.2f} MB, {time.monotonic() - began:.0f} s")


if __name__ == "__main__":
    main()
