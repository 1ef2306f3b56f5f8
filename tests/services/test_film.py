"""The film as made from stills on disk, decoded by a library that took no part in making it."""

from __future__ import annotations

import hashlib
import threading
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from lapsebench.core.filmlight import FilmLight
from lapsebench.core.filmsettings import Crop, FilmSettings
from lapsebench.core.project import Project
from lapsebench.core.sequence import Frame
from lapsebench.core.transfer import srgb_to_linear
from lapsebench.errors import Cancelled, DiskFullError, EncoderError, FrameError, OutputError
from lapsebench.services.film import FilmDone, check_output, make_film

BEST = FilmSettings(quality=100)


def ramp(width: int = 320, height: int = 200) -> NDArray[np.uint8]:
    """A grey ramp from black at the left to white at the right."""
    row = np.linspace(0, 255, width).round().astype(np.uint8)
    return np.broadcast_to(row[None, :, None], (height, width, 3)).copy()


def scene(width: int = 320, height: int = 200, shift: int = 0) -> NDArray[np.uint8]:
    """Smooth coloured waves, another picture for each `shift`."""
    x, y = np.meshgrid(np.arange(width) + shift, np.arange(height))
    waves = [np.sin(x / 40), np.sin(y / 30 + x / 90), np.cos((x + y) / 50)]
    return (110 + 90 * np.stack(waves, axis=-1)).astype(np.uint8)


def still(path: Path, codes: NDArray[np.uint8] | NDArray[np.uint16]) -> Path:
    """Write RGB codes as a picture file."""
    assert cv2.imwrite(str(path), codes[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 98])
    return path


def project_of(*paths: Path, film: FilmSettings = BEST) -> Project:
    return Project(frames=tuple(Frame(path) for path in paths), film=film)


def gains(*gain_ev: float) -> FilmLight:
    values = np.array(gain_ev, float)
    return FilmLight(values, values, values)


def filmed(project: Project, output: Path, *gain_ev: float) -> FilmDone:
    """Film every frame of the project with the gains, none where not given."""
    light = gains(*(gain_ev or [0.0] * len(project.frames)))
    return make_film(project, light, output, frames=range(len(project.frames)))


def decoded(path: Path) -> list[NDArray[np.uint8]]:
    """Every frame as RGB codes; converted from the planes as Rec. ITU-R BT.709-6 items 3 and 4 say."""
    frames = []
    with av.open(path) as film:
        for frame in film.decode(video=0):
            height, width = frame.height, frame.width
            planes = frame.to_ndarray(format="yuv420p").astype(float)
            luma = (planes[:height] - 16) / 219
            chroma = planes[height:].reshape(2, height // 2, width // 2)
            blue, red = ((cv2.resize(c, (width, height), interpolation=cv2.INTER_LINEAR) - 128) / 224 for c in chroma)
            r, b = luma + 1.5748 * red, luma + 1.8556 * blue
            g = (luma - 0.2126 * r - 0.0722 * b) / 0.7152
            frames.append(np.clip(np.rint(255 * np.stack([r, g, b], axis=-1)), 0, 255).astype(np.uint8))
    return frames


def test_without_gain_the_film_shows_the_stills(tmp_path: Path) -> None:
    paths = [still(tmp_path / f"{n}.png", scene(shift=9 * n)) for n in range(5)]
    done = filmed(project_of(*paths), tmp_path / "film.mp4")
    shown = decoded(done.path)
    assert done == FilmDone(done.path, (0, 1, 2, 3, 4), (320, 200), 0.2, done.path.stat().st_size, Fraction(25))
    assert len(shown) == 5
    for n, codes in enumerate(shown):
        error = codes.astype(int) - scene(shift=9 * n)
        assert np.abs(error).mean() < 1.5
        assert np.abs(error.mean()) < 0.5


def test_gains_are_in_the_pixels(tmp_path: Path) -> None:
    paths = [still(tmp_path / f"{n}.jpg", ramp()) for n in range(3)]
    plain, brighter, darker = decoded(filmed(project_of(*paths), tmp_path / "film.mp4", 0.0, 0.5, -0.7).path)
    strips = [srgb_to_linear(codes[20:-20] / 255).reshape(160, 32, 10, 3) for codes in (plain, brighter, darker)]
    light = [strip.mean(axis=(0, 2, 3)) for strip in strips]  # over ten columns: codes are rounded, gains are not
    mids = (light[0] > 0.08) & (light[0] < 0.5)
    assert mids.sum() > 10
    for gained, gain_ev in ((light[1], 0.5), (light[2], -0.7)):
        found = np.log2(gained[mids] / light[0][mids])
        assert found.mean() == pytest.approx(gain_ev, abs=0.005)
        assert np.abs(found - gain_ev).max() < 0.02


def test_a_gain_that_is_not_known_is_none(tmp_path: Path) -> None:
    paths = [still(tmp_path / f"{n}.png", ramp()) for n in range(2)]
    first, second = decoded(filmed(project_of(*paths), tmp_path / "film.mp4", 0.0, np.nan).path)
    assert np.abs(first.astype(int) - second).max() <= 3


def test_frames_come_in_the_order_asked_with_their_own_gains(tmp_path: Path) -> None:
    grey = np.full((64, 96, 3), 100, np.uint8)
    project = project_of(*(still(tmp_path / f"{n}.png", grey) for n in range(12)))
    light = gains(*np.linspace(-1, 1, 12))
    ticks: list[tuple[int, int]] = []
    done = make_film(
        project, light, tmp_path / "f.mp4", frames=[9, 2, 3, 11, 0], tick=lambda done, total: ticks.append((done, total))
    )
    shown = [srgb_to_linear(codes.mean() / 255) / srgb_to_linear(100 / 255) for codes in decoded(done.path)]
    assert np.log2(shown) == pytest.approx(light.gain_ev[[9, 2, 3, 11, 0]], abs=0.045)  # a code of luma is 0.05 stop
    assert ticks == [(n, 5) for n in range(6)]
    assert done.frames == (9, 2, 3, 11, 0)


def test_used_frames_are_filmed_when_none_are_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    project = project_of(*(still(tmp_path / f"{n}.png", scene()) for n in range(4)))
    monkeypatch.setattr("lapsebench.services.film.used_frames", lambda _project: [1, 3])
    assert make_film(project, gains(0, 0, 0, 0), tmp_path / "film.mp4").frames == (1, 3)


@pytest.mark.parametrize(
    ("crop", "source", "film"),
    [
        (Crop.SOURCE, (961, 641), (960, 640)),
        (Crop.SQUARE, (961, 641), (640, 640)),
        (Crop.TALL, (320, 200), (112, 200)),
        (Crop.WIDE, (320, 200), (320, 180)),
    ],
)
def test_shapes(tmp_path: Path, crop: Crop, source: tuple[int, int], film: tuple[int, int]) -> None:
    codes = scene(*source)
    path = still(tmp_path / "0.png", codes)
    done = filmed(project_of(path, film=replace(BEST, crop=crop)), tmp_path / "film.mp4")
    assert done.size == film
    x, y = (source[0] - film[0]) // 2, (source[1] - film[1]) // 2
    (shown,) = decoded(done.path)
    assert shown.shape == (film[1], film[0], 3)
    assert np.abs(shown.astype(int) - codes[y : y + film[1], x : x + film[0]]).mean() < 1.5


def test_a_smaller_film_keeps_the_light(tmp_path: Path) -> None:
    codes = np.zeros((400, 640, 3), np.uint8)
    codes[::2, ::2] = 255
    path = still(tmp_path / "0.png", codes)
    done = filmed(project_of(path, film=replace(BEST, size=(160, 160))), tmp_path / "film.mp4")
    assert done.size == (160, 100)
    assert decoded(done.path)[0].mean() == pytest.approx(137, abs=1.5)


def test_sixteen_bits_take_the_long_way_to_the_same_picture(tmp_path: Path) -> None:
    deep = still(tmp_path / "deep.png", scene().astype(np.uint16) * 257)
    plain = still(tmp_path / "plain.png", scene())
    one, other = decoded(filmed(project_of(deep, plain), tmp_path / "film.mp4", 0.4, 0.4).path)
    assert np.abs(one.astype(int) - other).mean() < 1


def test_another_size_fills_the_frame_and_an_upright_still_stands_on_black(tmp_path: Path) -> None:
    paths = [
        still(tmp_path / "0.png", scene(320, 200)),
        still(tmp_path / "1.png", np.full((300, 400, 3), 120, np.uint8)),
        still(tmp_path / "2.png", np.full((320, 200, 3), 120, np.uint8)),
    ]
    _, filling, upright = decoded(filmed(project_of(*paths), tmp_path / "film.mp4").path)
    assert filling.min() >= 117
    inner = (320 - 125) // 2
    assert upright[:, inner + 4 : inner + 121].min() >= 115
    assert max(upright[:, : inner - 4].max(), upright[:, inner + 129 :].max()) <= 4


@pytest.mark.parametrize("after", [0, 1, 7])
def test_cancelling_leaves_nothing(tmp_path: Path, after: int) -> None:
    paths = [still(tmp_path / f"{n}.png", scene()) for n in range(12)]
    (tmp_path / "films").mkdir()
    threads = threading.active_count()

    def stop(done: int, total: int) -> None:
        if done == after:
            raise Cancelled
        assert total == 12

    with pytest.raises(Cancelled):
        make_film(project_of(*paths), gains(*[0.0] * 12), tmp_path / "films" / "film.mp4", frames=range(12), tick=stop)
    assert list((tmp_path / "films").iterdir()) == []
    assert threading.active_count() == threads


def test_a_still_that_is_damaged_stops_the_film_and_is_named(tmp_path: Path) -> None:
    paths = [still(tmp_path / f"{n}.jpg", scene()) for n in range(9)]
    paths[6].write_bytes(paths[6].read_bytes()[:2000])
    (tmp_path / "films").mkdir()
    with pytest.raises(FrameError, match=r"6\.jpg.*leave it out"):
        filmed(project_of(*paths), tmp_path / "films" / "film.mp4")
    assert list((tmp_path / "films").iterdir()) == []


def test_a_still_that_is_gone_is_named_before_anything_starts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    paths = [still(tmp_path / f"{n}.jpg", scene()) for n in range(3)]
    paths[2].unlink()
    monkeypatch.setattr("lapsebench.services.film.FilmWriter", None)
    with pytest.raises(FrameError, match=r"2\.jpg is not there"):
        filmed(project_of(*paths), tmp_path / "film.mp4")


def test_an_encoder_that_dies_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    paths = [still(tmp_path / f"{n}.png", scene()) for n in range(9)]
    program = tmp_path / "encoder.sh"
    program.write_text("#!/bin/sh\nhead -c 500000 >/dev/null\necho out of luck >&2\nexit 1\n")
    program.chmod(0o755)
    monkeypatch.setenv("IMAGEIO_FFMPEG_EXE", str(program))
    (tmp_path / "films").mkdir()
    with pytest.raises(EncoderError) as raised:
        filmed(project_of(*paths), tmp_path / "films" / "film.mp4")
    assert raised.value.log == "out of luck"
    assert list((tmp_path / "films").iterdir()) == []


def test_nothing_to_film_is_said(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="Nothing to film"):
        make_film(Project(), gains(), tmp_path / "film.mp4", frames=[])


def test_a_source_is_never_written(tmp_path: Path) -> None:
    path = still(tmp_path / "0.png", scene())
    disguised = path.rename(tmp_path / "0.mp4")
    before = hashlib.sha256(disguised.read_bytes()).digest()
    for overwrite in (False, True):
        with pytest.raises(OutputError, match="one of your source frames"):
            make_film(project_of(disguised), gains(0), disguised, frames=[0], overwrite=overwrite)
    assert hashlib.sha256(disguised.read_bytes()).digest() == before


def test_sources_are_left_as_they_are(tmp_path: Path) -> None:
    paths = [still(tmp_path / f"{n}.jpg", scene(shift=n)) for n in range(4)]
    before = [(path.read_bytes(), path.stat().st_mtime_ns) for path in paths]
    filmed(project_of(*paths), tmp_path / "film.mp4", 1.0, -1.0, 0.3, 0.0)
    assert [(path.read_bytes(), path.stat().st_mtime_ns) for path in paths] == before
    assert len(list(tmp_path.iterdir())) == 5


def test_a_disk_that_is_too_small_is_told_before_filming(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = still(tmp_path / "0.png", scene())
    monkeypatch.setattr("lapsebench.io.filmpath.shutil.disk_usage", lambda _folder: type("Usage", (), {"free": 10})())
    with pytest.raises(DiskFullError, match="free"):
        filmed(project_of(path), tmp_path / "film.mp4")
    assert [entry.name for entry in tmp_path.iterdir()] == ["0.png"]


def test_the_output_can_be_checked_early(tmp_path: Path) -> None:
    assert check_output(tmp_path / "film") == tmp_path / "film.mp4"
    (tmp_path / "film.mp4").touch()
    assert check_output(tmp_path / "film", overwrite=True) == tmp_path / "film.mp4"
    with pytest.raises(OutputError, match="exists already"):
        check_output(tmp_path / "film")
