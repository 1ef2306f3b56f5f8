"""Any video comes as small pictures of linear light with its times; what is no video is refused in words."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import av
import colour
import numpy as np
import pytest
from av.video.reformatter import Colorspace
from PIL import Image

from lapsebench.errors import FrameError
from lapsebench.io.filmframes import FilmFrames

Codes = np.ndarray[tuple[int, ...], np.dtype[np.uint8]]


def write_film(path: Path, frames: Sequence[Codes], *, at: Sequence[int] | None = None) -> Path:
    """Write pictures (h, w, 3) as a film of 25 frames a second without loss; `at` are the frames' own times in 1/25 s."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream("ffv1", rate=Fraction(25))
        stream.height, stream.width = frames[0].shape[:2]
        stream.pix_fmt = "bgr0"
        for k, picture in enumerate(frames):
            frame = av.VideoFrame.from_ndarray(np.ascontiguousarray(picture), format="rgb24").reformat(format="bgr0")
            frame.pts, frame.time_base = at[k] if at else k, Fraction(1, 25)
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path


def write_hdr(path: Path, levels: list[float], transfer: int) -> Path:
    """Write grey 10-bit frames of signal levels 0..1, tagged BT.2020 with that transfer (ITU-T H.273)."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream("ffv1", rate=Fraction(25))
        stream.width, stream.height, stream.pix_fmt = 64, 48, "gbrp10le"
        stream.codec_context.color_trc, stream.codec_context.color_primaries = transfer, 9
        for level in levels:
            frame = av.VideoFrame(64, 48, "gbrp10le")
            for plane in frame.planes:
                plane.update(np.full((48, plane.line_size // 2), round(1023 * level), "<u2").tobytes())
            frame.color_trc, frame.color_primaries = transfer, 9
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path


def grey(code: int, size: tuple[int, int] = (64, 48)) -> Codes:
    return np.full((size[1], size[0], 3), code, np.uint8)


def test_every_code_comes_as_its_light(tmp_path: Path) -> None:
    """IEC 61966-2-1 by colour-science."""
    ramp = np.repeat(np.arange(256, dtype=np.uint8).reshape(1, 256, 1), 3, axis=2).repeat(16, axis=0)
    with FilmFrames(write_film(tmp_path / "ramp.mkv", [ramp, ramp[:, ::-1]])) as film:
        pictures = [picture for _, picture in film]
    assert film.size == (256, 16)
    expected = colour.models.eotf_sRGB(np.arange(256) / 255)
    assert pictures[0][8, :, 1] == pytest.approx(expected, abs=1e-6)
    assert pictures[1][8, :, 1] == pytest.approx(expected[::-1], abs=1e-6)


def test_light_is_averaged_and_not_codes(tmp_path: Path) -> None:
    """Black and white pixels in turn: half the light, which code 128 would not be."""
    board = np.array(np.indices((480, 1024)).sum(axis=0) % 2 * 255, np.uint8)[..., None].repeat(3, axis=2)
    with FilmFrames(write_film(tmp_path / "board.mkv", [board])) as film:
        ((_, picture),) = film
    assert film.size == (256, 120)
    assert picture == pytest.approx(np.full((120, 256, 3), 0.5), abs=1e-5)


@pytest.mark.parametrize("matrix", ["bt709", "smpte170m"])
def test_coded_film_has_the_light_of_its_pictures(tmp_path: Path, matrix: str) -> None:
    """Limited range, 4:2:0, by the matrix that is named: BT.709 as our own films have it, or BT.601 (H.273: 1 and 6)."""
    bars = np.array([[255, 255, 255], [0, 0, 0], [255, 0, 0], [0, 255, 0], [128, 128, 128]], np.uint8)
    picture = np.ascontiguousarray(bars[None].repeat(128, axis=1).repeat(360, axis=0))
    path = tmp_path / "coded.mp4"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=Fraction(24))
        stream.width, stream.height, stream.pix_fmt, stream.options = 640, 360, "yuv420p", {"qp": "0"}
        stream.codec_context.colorspace = 1 if matrix == "bt709" else 6
        for _ in range(5):
            to = Colorspace.ITU709 if matrix == "bt709" else Colorspace.ITU601
            frame = av.VideoFrame.from_ndarray(picture, format="rgb24").reformat(format="yuv420p", dst_colorspace=to)
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    with FilmFrames(path) as film:
        read = list(film)
    assert (film.size, film.fps, film.expected, film.hdr, film.problem) == ((256, 144), 24.0, 5, False, "")
    assert [at for at, _ in read] == pytest.approx([k / 24 for k in range(5)], abs=1e-3)
    expected = colour.models.eotf_sRGB(bars / 255)
    for _, light in read:
        assert light[72, [26, 77, 128, 179, 230]] == pytest.approx(expected, abs=0.02)


def test_frames_have_their_true_times(tmp_path: Path) -> None:
    at = [10, 11, 15, 16, 30]
    with FilmFrames(write_film(tmp_path / "uneven.mkv", [grey(k) for k in range(5)], at=at)) as film:
        times = [seconds for seconds, _ in film]
    assert times == pytest.approx([(k - 10) / 25 for k in at], abs=1e-3)  # Matroska tells milliseconds


@pytest.mark.parametrize("level", [0.2996991, 0.5080784, 0.5806889, 0.7518271])
def test_pq_is_relative_to_two_hundred_candela(tmp_path: Path, level: float) -> None:
    """SMPTE ST 2084 by colour-science: 10, 100, 203 and 1000 cd/m²; BT.1702-3 has white at 200."""
    with FilmFrames(write_hdr(tmp_path / "pq.mkv", [level], 16)) as film:
        ((_, picture),) = film
    assert film.hdr
    expected = colour.models.eotf_ST2084(round(1023 * level) / 1023) / 200
    assert picture == pytest.approx(np.full(picture.shape, expected), rel=2e-3)


@pytest.mark.parametrize(("level", "nits"), [(0.75, 203.15), (0.5, 50.70), (1.0, 1000.0)])
def test_hlg_is_that_of_a_display_of_a_thousand(tmp_path: Path, level: float, nits: float) -> None:
    """Rec. ITU-R BT.2100-2 table 5 with a gamma of 1.2, by colour-science; 75 % is the white of Report BT.2408."""
    assert colour.models.eotf_BT2100_HLG([level] * 3, L_W=1000)[1] == pytest.approx(nits, rel=1e-3)
    with FilmFrames(write_hdr(tmp_path / "hlg.mkv", [level], 18)) as film:
        ((_, picture),) = film
    assert picture == pytest.approx(np.full(picture.shape, nits / 200), rel=8e-3)  # a code of ten bits is half of that


def test_colours_of_wide_primaries_keep_their_luminance(tmp_path: Path) -> None:
    """The green of BT.2020 has a luminance of 0.678 of white (Rec. ITU-R BT.2020-2 table 4)."""
    path = tmp_path / "wide.mkv"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("ffv1", rate=Fraction(25))
        stream.width, stream.height, stream.pix_fmt = 64, 48, "bgr0"
        stream.codec_context.color_primaries = 9
        green = grey(0)
        green[..., 1] = 255
        frame = av.VideoFrame.from_ndarray(green, format="rgb24").reformat(format="bgr0")
        frame.color_primaries = 9
        container.mux(stream.encode(frame))
        container.mux(stream.encode())
    with FilmFrames(path) as film:
        ((_, picture),) = film
    assert picture @ [0.2126, 0.7152, 0.0722] == pytest.approx(np.full((48, 64), 0.678), abs=1e-3)


def test_a_film_that_was_cut_short_tells_how_much_was_read(tmp_path: Path) -> None:
    random = np.random.default_rng(1)
    whole = write_film(tmp_path / "whole.mkv", [random.integers(0, 256, (48, 64, 3), np.uint8) for _ in range(50)])
    cut = tmp_path / "cut.mkv"
    cut.write_bytes(whole.read_bytes()[: whole.stat().st_size * 6 // 10])
    with FilmFrames(cut) as film:
        read = len(list(film))
    assert 25 <= read <= 31
    assert f"{read} of 50 frames of cut.mkv" in film.problem


@pytest.mark.parametrize("kind", ["text", "empty", "still", "sound", "missing", "folder", "no index"])
def test_what_is_no_video_is_refused_in_words(tmp_path: Path, kind: str) -> None:
    path = tmp_path / {"text": "notes.txt", "still": "still.png", "sound": "sound.wav"}.get(kind, "film.mp4")
    if kind == "text":
        path.write_text("nothing but words " * 100)
    elif kind == "empty":
        path.write_bytes(b"")
    elif kind == "still":
        Image.fromarray(grey(120)).save(path)
    elif kind == "sound":
        write_sound(path)
    elif kind == "folder":
        path.mkdir()
    elif kind == "no index":
        path.write_bytes(b"\0\0\0\x18ftypisom\0\0\2\0isommp41" + b"\0\0\x10\0mdat" + bytes(4000))
    with pytest.raises(FrameError) as refusal:
        FilmFrames(path)
    assert path.name in str(refusal.value)
    assert refusal.value.remedy


def write_sound(path: Path) -> None:
    with av.open(str(path), "w") as container:
        stream = container.add_stream("pcm_s16le", rate=8000)
        frame = av.AudioFrame.from_ndarray(np.zeros((1, 8000), np.int16), format="s16", layout="mono")
        frame.sample_rate = 8000
        container.mux(stream.encode(frame))
        container.mux(stream.encode())
