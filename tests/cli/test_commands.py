"""The real program from the command line: survey and film with their JSON, exit codes and messages."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

Floats = NDArray[np.float64]
Run = Callable[..., subprocess.CompletedProcess[str]]
FRAME_KEYS = {
    "file", "time", "exposure_s", "f_number", "iso", "exposure_ev", "luminance_ev", "received_ev", "scene_ev", "error_ev",
    "film_ev", "gain_ev", "virtual_ev", "colour_ev", "clipped", "setting_change", "faults", "used",
}  # fmt: skip


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """Return a function that runs lapsebench in an empty folder."""

    def start(*words: object, **extra: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "lapsebench", *map(str, words)],
            cwd=tmp_path,
            env=os.environ | extra,
            capture_output=True,
            text=True,
            timeout=240,
            check=False,
        )

    return start


def test_survey_writes_the_agreed_json(run: Run, demo: Path, tmp_path: Path) -> None:
    done = run("survey", demo, "--json", "night.json")
    assert done.returncode == 0, done.stderr
    report: dict[str, Any] = json.loads((tmp_path / "night.json").read_text())
    assert (report["format"], report["version"]) == ("lapsebench.survey", 1)
    assert set(report) == {"format", "version", "shots", "frames", "settings", "response", "metering", "warnings"}
    assert report["shots"] == [{"first": 0, "last": 119, "why": "start"}]
    assert len(report["frames"]) == 120
    assert all(set(frame) == FRAME_KEYS for frame in report["frames"])
    first = report["frames"][0]
    assert first["time"].endswith("+01:00")
    assert first["exposure_s"] == 13.0
    assert sum(frame["setting_change"] for frame in report["frames"]) == 9
    assert "Shot 1: frames 1 to 120" in done.stdout
    assert "13 s -> 15 s" in done.stdout
    assert {"Traceback", "Warning"}.isdisjoint(done.stderr.split())


def test_film_has_the_gains_of_its_report_in_its_pixels(run: Run, make_frames: Callable[..., Path], tmp_path: Path) -> None:
    folder = make_frames(10)
    done = run(
        "film", folder, "-o", "out.mp4", "--fps", "24000/1001", "--quality", "100", "--sky-kept", "0", "--report", "r.json"
    )
    assert done.returncode == 0, done.stderr
    report = json.loads((tmp_path / "r.json").read_text())
    used = [frame for frame in report["frames"] if frame["used"]]
    with av.open(str(tmp_path / "out.mp4")) as film:
        assert film.streams.video[0].average_rate == pytest.approx(24000 / 1001)
        frames = [frame.to_ndarray(format="rgb24") for frame in film.decode(video=0)]
    assert len(frames) == len(used) == 10
    assert np.ptp([frame["virtual_ev"] for frame in used]) < 0.02


def test_demo_film_carries_its_gains(run: Run, demo: Path, tmp_path: Path) -> None:
    done = run("film", demo, "-o", "demo", "--quality", "95", "--report", "r.json")
    assert done.returncode == 0, done.stderr
    used = [frame for frame in json.loads((tmp_path / "r.json").read_text())["frames"] if frame["used"]]
    with av.open(str(tmp_path / "demo.mp4")) as film:
        shown = [green_of(frame) for frame in film.decode(video=0)]
    assert len(shown) == len(used) == 117
    stills = (np.asarray(Image.open(demo / frame["file"]))[..., 1] / 255 for frame in used)
    gains = [gain_in_pixels(still, codes) for still, codes in zip(stills, shown, strict=True)]
    off = np.array(gains) - [frame["gain_ev"] for frame in used]
    print(f"gains in the pixels against the report: {off.std():.4f} stop rms, {np.abs(off).max():.4f} largest")
    assert np.abs(off).max() < 0.03


def green_of(frame: av.VideoFrame) -> Floats:
    """Return the green code, 0..1, of a limited-range frame by the BT.709 matrix (Rec. ITU-R BT.709-6 item 3)."""
    y, cb, cr = np.asarray(frame.to_ndarray(format="yuv444p"), dtype=float)
    luma, cb, cr = (y - 16) / 219, (cb - 128) / 224, (cr - 128) / 224
    red, blue = luma + 1.5748 * cr, luma + 1.8556 * cb
    green: Floats = (luma - 0.2126 * red - 0.0722 * blue) / 0.7152
    return np.clip(green, 0, 1)


def gain_in_pixels(source: Floats, film: Floats) -> float:
    """Return the median log2 ratio of film to source light over 8 x 8 blocks that lie in the mid-tones of both."""
    before, after = blocks(source), blocks(film)
    mids = (before > 0.01) & (before < 0.3) & (after > 0.01) & (after < 0.5)
    return float(np.median(np.log2(after[mids] / before[mids])))


def blocks(codes: Floats) -> Floats:
    """Return mean light of 8 x 8 blocks of sRGB codes 0..1, decoded by the standard's formula (IEC 61966-2-1)."""
    linear = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
    means: Floats = linear.reshape(linear.shape[0] // 8, 8, -1, 8).mean(axis=(1, 3))
    return means


@pytest.mark.parametrize("words", [["film"], ["survey"], ["film", "x", "-o", "y.mp4", "--fps", "none"], ["--nonsense"]])
def test_wrong_usage_exits_with_2(run: Run, words: list[str]) -> None:
    assert run(*words).returncode == 2


def test_help_and_version_exit_with_0(run: Run) -> None:
    for words in (["--help"], ["--version"], ["film", "--help"], ["survey", "--help"]):
        done = run(*words)
        assert done.returncode == 0
        assert "lapsebench" in done.stdout


def test_without_a_screen_the_window_says_so_in_one_line(run: Run, demo: Path) -> None:
    done = run(demo, QT_QPA_PLATFORM="", DISPLAY="", WAYLAND_DISPLAY="")
    assert done.returncode == 1
    assert len(done.stderr.strip().splitlines()) == 1
    assert "no screen" in done.stderr


def test_without_a_screen_the_demo_makes_its_film(run: Run, tmp_path: Path) -> None:
    done = run("--demo", QT_QPA_PLATFORM="", DISPLAY="", WAYLAND_DISPLAY="")
    assert done.returncode == 0, done.stderr
    assert str(tmp_path / "lapsebench-demo.mp4") in done.stdout
    with av.open(str(tmp_path / "lapsebench-demo.mp4")) as film:
        assert film.streams.video[0].frames == 117


def test_ctrl_c_exits_with_130_and_leaves_nothing(demo: Path, tmp_path: Path) -> None:
    program = subprocess.Popen(
        [sys.executable, "-m", "lapsebench", "film", str(demo), "-o", "out.mp4"],
        cwd=tmp_path,
        stderr=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        text=True,
    )
    assert program.stderr is not None
    for line in program.stderr:
        if line.startswith("Filming: 12"):
            program.send_signal(signal.SIGINT)
            break
    assert program.wait(60) == 130
    program.stderr.close()
    time.sleep(0.2)
    assert list(tmp_path.iterdir()) == []


def test_a_missing_system_library_is_said_in_one_line(demo: Path, tmp_path: Path) -> None:
    (tmp_path / "cv2.py").write_text("raise ImportError('libGL.so.1: cannot open shared object file: No such file')")
    done = subprocess.run(
        [sys.executable, "-m", "lapsebench", "survey", str(demo)],
        env=os.environ | {"PYTHONPATH": str(tmp_path)},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 1
    assert len(done.stderr.strip().splitlines()) == 1
    assert "libGL.so.1" in done.stderr
    assert "apt install" in done.stderr


def test_the_metering_area_is_reported(run: Run, make_frames: Callable[..., Path], tmp_path: Path) -> None:
    folder = make_frames(12)
    for words, kind in ((["--meter-box", "0.25,0.25,0.5,0.5"], "rectangle"), (["--meter", "whole"], "whole"), ([], "whole")):
        done = run("survey", folder, *words, "--json", "r.json")
        assert done.returncode == 0, done.stderr
        (metering,) = json.loads((tmp_path / "r.json").read_text())["metering"]
        assert metering["kind"] == kind
        assert metering["box"] == ([0.25, 0.25, 0.5, 0.5] if kind == "rectangle" else None)
        assert metering["problem"] is None
    done = run("survey", folder, "--meter", "sky", "--json", "r.json")
    (metering,) = json.loads((tmp_path / "r.json").read_text())["metering"]
    assert (metering["kind"], metering["horizon"], metering["found"]) == ("whole", None, False)
    assert "No horizon was found" in metering["problem"]
    assert metering["problem"] in done.stderr


def test_even_colour_is_taken_over_and_reported(run: Run, make_frames: Callable[..., Path], tmp_path: Path) -> None:
    folder = make_frames(8)
    for words, told in ([], None), (["--even-colour"], [0.0, 0.0, 0.0]):
        done = run("film", folder, "-o", "film.mp4", "--overwrite", *words, "--report", "r.json")
        assert done.returncode == 0, done.stderr
        assert [frame["colour_ev"] for frame in json.loads((tmp_path / "r.json").read_text())["frames"]] == [told] * 8


def test_a_preset_sets_the_light_and_single_options_count_over_it(
    run: Run, make_frames: Callable[..., Path], tmp_path: Path
) -> None:
    folder = make_frames(12)
    gains = {}
    for name, words in {
        "preset": ["--preset", "steady-night"],
        "same": ["--sky-kept", "10", "--ramp", "1.5"],
        "changed": ["--preset", "steady-night", "--sky-kept", "100"],
        "as shot": ["--preset", "as-shot"],
    }.items():
        done = run("film", folder, "-o", f"{name}.mp4", *words, "--report", f"{name}.json")
        assert done.returncode == 0, done.stderr
        gains[name] = [frame["gain_ev"] for frame in json.loads((tmp_path / f"{name}.json").read_text())["frames"]]
    assert gains["preset"] == gains["same"] != gains["changed"]
    assert set(gains["as shot"]) == {0.0}
