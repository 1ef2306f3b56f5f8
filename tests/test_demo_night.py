"""Tests of the demo night: its size, its EXIF, its story and its truth."""

import json
import sys
from fractions import Fraction
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import exifread
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image as PillowImage

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "resources"))

from demo_night.camera import photograph
from demo_night.lens import mean_luminance
from demo_night.plan import BLOWN_FRAMES, FRAME_COUNT, GAP_FRAME, plan_night
from demo_night.scene import render_scene

FOLDER = Path(__file__).resolve().parents[1] / "sample_frames"

EXIF_TAGS = (
    "EXIF ExposureTime",
    "EXIF FNumber",
    "EXIF ISOSpeedRatings",
    "EXIF DateTimeOriginal",
    "EXIF SubSecTimeOriginal",
    "EXIF OffsetTimeOriginal",
    "EXIF FocalLength",
    "EXIF FocalLengthIn35mmFilm",
    "Image Make",
    "Image Model",
    "EXIF BodySerialNumber",
    "EXIF LensModel",
    "Image Orientation",
)


@cache
def _truth() -> list[dict[str, Any]]:
    document = json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))
    assert (document["format"], document["version"]) == ("lapsebench.truth", 1)
    frames: list[dict[str, Any]] = document["frames"]
    return frames


@cache
def _tags() -> list[dict[str, Any]]:
    found = []
    for entry in _truth():
        with (FOLDER / entry["file"]).open("rb") as stream:
            found.append(dict(exifread.process_file(stream, details=False)))
    return found


def _column(key: str) -> NDArray[np.float64]:
    return np.array([entry[key] for entry in _truth()], float)


def _codes(index: int) -> NDArray[np.uint8]:
    with PillowImage.open(FOLDER / _truth()[index]["file"]) as picture:
        return np.asarray(picture.convert("RGB"))


def _linear(codes: NDArray[np.uint8]) -> NDArray[np.float32]:
    value = codes.astype(np.float64) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4).astype(np.float32)


def _with_fault(name: str) -> list[int]:
    return [index for index, entry in enumerate(_truth()) if name in entry["faults"]]


def test_count_size_and_bytes() -> None:
    files = sorted(FOLDER.glob("*.JPG"))
    assert [file.name for file in files] == [entry["file"] for entry in _truth()]
    assert 90 <= len(files) == FRAME_COUNT <= 150
    assert sum(file.stat().st_size for file in FOLDER.iterdir()) < 8_000_000
    for file in files:
        with PillowImage.open(file) as picture:
            assert (picture.format, picture.size, picture.mode) == ("JPEG", (960, 640), "RGB")


def test_exif_is_complete_and_nominal() -> None:
    for tags, frame in zip(_tags(), plan_night(), strict=True):
        assert not [tag for tag in EXIF_TAGS if tag not in tags]
        exposure, f_number = tags["EXIF ExposureTime"].values[0], tags["EXIF FNumber"].values[0]
        assert Fraction(exposure.num, exposure.den) == frame.setting.shutter_s
        assert Fraction(f_number.num, f_number.den) == frame.setting.f_number
        assert tags["EXIF ISOSpeedRatings"].values == [frame.setting.iso]
        assert tags["Image Orientation"].values == [1]
        stamp = f"{tags['EXIF DateTimeOriginal']}.{tags['EXIF SubSecTimeOriginal']}{tags['EXIF OffsetTimeOriginal']}"
        assert stamp == f"{frame.time:%Y:%m:%d %H:%M:%S}.{frame.time.microsecond // 10_000:02d}+01:00"


def test_settings_are_changed_by_hand_in_whole_clicks() -> None:
    dials = [
        (str(tags["EXIF ExposureTime"]), str(tags["EXIF FNumber"]), tags["EXIF ISOSpeedRatings"].values[0])
        for tags in _tags()
    ]
    changes = [index for index in range(1, len(dials)) if dials[index] != dials[index - 1]]
    assert len(changes) >= 6
    assert changes == [index for index, entry in enumerate(_truth()) if entry["setting_change"]]
    for position in range(3):
        assert len({dial[position] for dial in dials}) >= 2
    thirds = 3 * _column("marks_ev")
    assert np.abs(thirds - np.round(thirds)).max() < 1e-4
    assert np.abs(np.diff(_column("received_ev"))).max() > 0.6


def test_interval_follows_the_shutter_but_for_one_gap() -> None:
    frames = plan_night()
    pauses = [b.start_s - a.start_s - a.setting.true_shutter_s for a, b in pairwise(frames)]
    assert pauses.pop(GAP_FRAME - 1) > 180
    assert 2.0 < min(pauses) <= max(pauses) < 4.0


def test_story_has_a_break_up_of_four_to_five_stops() -> None:
    scene_ev = _column("scene_ev")
    quiet = float(np.median(scene_ev[:43]))
    assert 4.0 <= scene_ev.max() - quiet <= 5.0
    assert scene_ev[-1] < quiet + 1.0
    late = np.flatnonzero(scene_ev < quiet + 0.5)
    assert 8 <= int(scene_ev.argmax()) - int(late[late < scene_ev.argmax()].max()) <= 20


def test_faults_are_one_headlamp_two_blown_one_gap() -> None:
    assert len(_with_fault("stray light")) == 1
    assert _with_fault("gap") == [GAP_FRAME]
    assert _with_fault("blown") == list(BLOWN_FRAMES)
    assert {name for entry in _truth() for name in entry["faults"]} == {"stray light", "blown", "gap"}


def test_only_blown_frames_are_heavily_clipped() -> None:
    clipped = [float((_codes(index) >= 254).any(axis=2).mean()) for index in range(FRAME_COUNT)]
    blown = _with_fault("blown")
    assert min(clipped[index] for index in blown) > 0.12
    assert max(share for index, share in enumerate(clipped) if index not in blown) < 0.02


def test_truth_adds_up() -> None:
    total = _column("marks_ev") + _column("bias_ev") + _column("flicker_ev")
    np.testing.assert_allclose(_column("received_ev"), total, atol=5e-6)
    assert 0.025 < _column("flicker_ev").std() < 0.055
    by_marks: dict[tuple[str, ...], set[float]] = {}
    for entry, tags in zip(_truth(), _tags(), strict=True):
        dial = tuple(str(tags[tag]) for tag in ("EXIF ExposureTime", "EXIF FNumber", "EXIF ISOSpeedRatings"))
        by_marks.setdefault(dial, set()).add(entry["bias_ev"])
    assert all(len(biases) == 1 for biases in by_marks.values())


@pytest.mark.parametrize("pair", [(4, 5), (10, 11), (11, 12), (27, 28), (45, 46), (62, 63), (74, 75), (105, 106)])
def test_pixels_agree_with_truth(pair: tuple[int, int]) -> None:
    light = [float(np.log2(mean_luminance(_linear(_codes(index))))) for index in pair]
    expected = [_truth()[index]["received_ev"] + _truth()[index]["scene_ev"] for index in pair]
    assert light[1] - light[0] == pytest.approx(expected[1] - expected[0], abs=0.03)


def test_scene_has_the_planned_luminance() -> None:
    frame = plan_night()[31]
    assert np.log2(mean_luminance(render_scene(frame))) == pytest.approx(_truth()[31]["scene_ev"], abs=1e-3)


def test_frames_can_be_made_again() -> None:
    first, again = photograph(plan_night()[64]), photograph(plan_night()[64])
    np.testing.assert_array_equal(first, again)
    assert first.shape == (640, 960, 3)
    assert first.dtype == np.uint8
    assert np.abs(first.astype(float) - _codes(64)).mean() < 2.5
