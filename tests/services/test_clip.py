"""A camera's own time-lapse video is taken as frames: counted, read in any order, evened and filmed."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import pytest

from lapsebench.core.sequence import Fault
from lapsebench.core.transfer import srgb_to_linear
from lapsebench.errors import FrameError
from lapsebench.io.clip import read_clip
from lapsebench.io.icc import SRGB
from lapsebench.services.film import make_film
from lapsebench.services.survey import gather, level, responses_at, survey, used_frames

COUNT, WIDTH, HEIGHT = 60, 192, 128


def picture(k: int) -> np.ndarray:
    """Return frame `k`, (h, w, 3) codes: a textured night, a third of a stop brighter from frame 30 on."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    light = 0.05 + 0.04 * np.sin(x / 9) * np.cos(y / 7) + 0.05 * (y < 60) * np.exp(-(((y - 30 - k / 8) / 8) ** 2))
    exposed = light * 2.0 ** (1 / 3 if k >= 30 else 0)
    return np.repeat(np.rint(255 * np.clip(exposed, 0, 1) ** (1 / 2.2)).astype(np.uint8)[..., None], 3, axis=2)


def write_clip(path: Path, *, pixels: str = "yuv420p") -> Path:
    """Write the frames as a video with B-frames and a key frame every 24."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=Fraction(25))
        stream.width, stream.height, stream.pix_fmt = WIDTH, HEIGHT, pixels
        stream.options = {"crf": "4", "g": "24", "bf": "2"}
        stream.codec_context.colorspace = 1
        for k in range(COUNT):
            frame = av.VideoFrame.from_ndarray(picture(k), format="rgb24").reformat(format=pixels, dst_colorspace=1)
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path


@pytest.fixture(scope="module")
def clip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_clip(tmp_path_factory.mktemp("clip") / "NIGHT.MP4")


@pytest.mark.parametrize("workers", [1, 4])
def test_every_frame_is_read_whatever_the_order(clip: Path, workers: int) -> None:
    order = np.random.default_rng(workers).permutation(COUNT)
    with ThreadPoolExecutor(workers) as pool:
        read = list(pool.map(lambda k: read_clip(clip, int(k)), order))
    for k, got in zip(order, read, strict=True):
        assert got.profile is SRGB
        assert np.abs(got.codes.astype(int) - picture(int(k))).mean() < 1.5


def test_ten_bits_are_kept(tmp_path: Path) -> None:
    path = write_clip(tmp_path / "deep.mov", pixels="yuv420p10le")
    codes = read_clip(path, 40).codes
    assert codes.dtype == np.uint16
    assert np.abs(codes / 257.0 - picture(40)).mean() < 1.0
    assert gather([path])[0].frames[0].bit_depth == 16


def test_the_step_in_a_clip_is_found_and_evened_in_the_film(clip: Path, tmp_path: Path) -> None:
    project, _ = gather([clip.parent])
    assert [frame.name for frame in project.frames[:2]] == ["NIGHT.MP4 #1", "NIGHT.MP4 #2"]
    night = survey(project)
    assert len(used_frames(night.project)) == COUNT
    received = night.light.received_ev
    assert received[31:].mean() - received[:29].mean() == pytest.approx(1 / 3, abs=0.03)
    done = make_film(night.project, level(night, night.project), tmp_path / "film.mp4", responses=responses_at(night))
    with av.open(str(done.path)) as film:
        shown = [frame.to_ndarray(format="rgb24") for frame in film.decode(video=0)]
    light = np.array([np.log2(srgb_to_linear(codes / 255.0).mean()) for codes in shown])
    assert np.abs(np.diff(light))[28:32].max() < 0.05


def test_a_video_beside_stills_is_left_aside(clip: Path, tmp_path: Path) -> None:
    cv2.imwrite(str(tmp_path / "a.png"), picture(0))
    (tmp_path / "film.mp4").write_bytes(clip.read_bytes())
    project, notes = gather([tmp_path])
    assert [frame.name for frame in project.frames] == ["a.png"]
    assert any("film.mp4" in note for note in notes)


@pytest.mark.parametrize("kept", [0, 40, 3000])
def test_a_damaged_clip_is_one_frame_flagged_with_the_reason(clip: Path, tmp_path: Path, kept: int) -> None:
    path = tmp_path / "broken.mp4"
    path.write_bytes(clip.read_bytes()[:kept])
    (frame,) = gather([path])[0].frames
    assert Fault.UNREADABLE in frame.faults
    assert "broken.mp4" in frame.problem


def test_a_clip_damaged_within_flags_frames_and_never_hangs(clip: Path, tmp_path: Path) -> None:
    data = bytearray(clip.read_bytes())
    middle = len(data) // 2
    data[middle : middle + 3000] = bytes(3000)
    path = tmp_path / "holed.mp4"
    path.write_bytes(data)
    frames = survey(gather([path])[0]).project.frames
    assert 1 <= len(frames) <= COUNT


def test_a_frame_beyond_the_end_is_told(clip: Path) -> None:
    with pytest.raises(FrameError, match="Frame 100 of NIGHT"):
        read_clip(clip, 99)
