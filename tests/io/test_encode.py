"""The film writer: whole films under their name, nothing at all otherwise."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

from lapsebench.core.filmframe import FilmFrame
from lapsebench.core.formats import FilmFormat
from lapsebench.errors import Cancelled, DiskFullError, EncoderError, LapsebenchError, OutputError
from lapsebench.imaging.planes import film_frame
from lapsebench.io.encode import FilmWriter
from lapsebench.io.encoders import crf_of
from lapsebench.io.filmcheck import FilmCheck
from lapsebench.io.filmlimits import check_size
from lapsebench.io.filmpath import film_path, fits, partial_path
from lapsebench.io.program import encoder_program

SIZE = (320, 180)
RATE = Fraction(25)
needs_posix = pytest.mark.skipif(sys.platform == "win32", reason="stands a shell script in for the encoder")


def noise(count: int, size: tuple[int, int] = SIZE) -> Iterator[FilmFrame]:
    """Frames that don't compress."""
    rng = np.random.default_rng(7)
    for n in range(count):
        yield film_frame(rng.integers(0, 256, (size[1], size[0], 3), dtype=np.uint8), FilmFormat.H264, n)


def found_in(path: Path) -> tuple[int, tuple[int, int], Fraction]:
    """Frames, size and rate of a film, by a library that took no part in making it."""
    with av.open(path) as film:
        stream = film.streams.video[0]
        return sum(1 for _ in film.decode(stream)), (stream.width, stream.height), Fraction(stream.average_rate or 0)


def write(path: Path, count: int = 6, *, fps: Fraction = RATE, quality: int = 70, overwrite: bool = False) -> Path:
    """Write a film of noise."""
    with FilmWriter(path, size=SIZE, fps=fps, quality=quality, overwrite=overwrite) as film:
        for frame in noise(count):
            film.write(frame)
        return film.finish()


def encoder_that(folder: Path, script: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Put a shell script in the encoder's place."""
    program = folder / "encoder.sh"
    program.write_text("#!/bin/sh\n" + script)
    program.chmod(0o755)
    monkeypatch.setenv("IMAGEIO_FFMPEG_EXE", str(program))


@pytest.mark.parametrize("name", ["film.mp4", "film.mov", "FILM.MP4", "näve 50% done: take 1.mp4"])
def test_a_film_appears_under_its_name_and_nothing_else_does(tmp_path: Path, name: str) -> None:
    path = write(tmp_path / name)
    assert [entry.name for entry in tmp_path.iterdir()] == [name]
    assert path == tmp_path / name
    assert found_in(path) == (6, SIZE, Fraction(25))


def test_a_name_without_suffix_becomes_mp4(tmp_path: Path) -> None:
    assert write(tmp_path / "film") == tmp_path / "film.mp4"


def test_a_long_name_fits(tmp_path: Path) -> None:
    assert write(tmp_path / ("n" * 250 + ".mp4")).is_file()


@pytest.mark.parametrize("fps", [Fraction(rate) for rate in ("25", "24000/1001", "30", "60", "1/2", "2469/200")])
@pytest.mark.parametrize("count", [1, 2, 31])
def test_every_frame_comes_back_at_the_exact_rate(tmp_path: Path, fps: Fraction, count: int) -> None:
    with av.open(write(tmp_path / "film.mp4", count, fps=fps)) as film:
        stream = film.streams.video[0]
        times = [frame.pts for frame in film.decode(stream)]
        assert stream.average_rate == fps
        assert stream.time_base is not None
        assert len(times) == stream.frames == count
        assert all((b or 0) - (a or 0) == 1 / fps / stream.time_base for a, b in pairwise(times))


def test_the_file_is_readable_by_whom_the_user_lets(tmp_path: Path) -> None:
    umask = os.umask(0o022)
    os.umask(umask)
    if sys.platform != "win32":
        assert write(tmp_path / "film.mp4").stat().st_mode & 0o777 == 0o666 & ~umask


def test_quality_maps_to_the_rate_factor_and_to_bytes(tmp_path: Path) -> None:
    assert [crf_of(quality) for quality in (0, 40, 70, 100)] == [32, 24, 18, 12]
    sizes = [write(tmp_path / f"{quality}.mp4", quality=quality).stat().st_size for quality in (0, 40, 70, 100)]
    assert sizes == sorted(set(sizes))
    assert all(FilmFormat.H264.facts.least_bytes(SIZE, 6, q) < b for q, b in zip((0, 40, 70, 100), sizes, strict=True))


@pytest.mark.parametrize("stop", [Cancelled, KeyboardInterrupt, RuntimeError])
def test_leaving_early_leaves_nothing(tmp_path: Path, stop: type[BaseException]) -> None:
    threads = threading.active_count()
    film = FilmWriter(tmp_path / "film.mp4", size=SIZE, fps=RATE, quality=70)
    with pytest.raises(stop), film:
        for done, frame in enumerate(noise(9)):
            film.write(frame)
            if done == 4:
                assert [entry.name.startswith(".film.partial-") for entry in tmp_path.iterdir()] == [True]
                raise stop()
    assert list(tmp_path.iterdir()) == []
    assert threading.active_count() == threads


def test_leaving_without_finish_leaves_nothing(tmp_path: Path) -> None:
    with FilmWriter(tmp_path / "film.mp4", size=SIZE, fps=RATE, quality=70) as film:
        film.write(next(noise(1)))
    assert list(tmp_path.iterdir()) == []


def test_an_older_film_survives_a_failed_one(tmp_path: Path) -> None:
    path = write(tmp_path / "film.mp4")
    before = path.read_bytes()
    with pytest.raises(Cancelled), FilmWriter(path, size=SIZE, fps=RATE, quality=70, overwrite=True) as film:
        film.write(next(noise(1)))
        raise Cancelled
    assert path.read_bytes() == before


def test_an_existing_film_is_replaced_only_when_allowed(tmp_path: Path) -> None:
    write(tmp_path / "film.mp4")
    with pytest.raises(OutputError, match="exists already"):
        write(tmp_path / "film.mp4")
    assert found_in(write(tmp_path / "film.mp4", 9, overwrite=True))[0] == 9


def test_a_film_that_came_to_be_meanwhile_is_not_written_over(tmp_path: Path) -> None:
    path = tmp_path / "film.mp4"
    with (
        pytest.raises(OutputError, match="exists already"),
        FilmWriter(path, size=SIZE, fps=RATE, quality=70) as film,
    ):
        film.write(next(noise(1)))
        path.write_bytes(b"someone's")
        film.finish()
    assert path.read_bytes() == b"someone's"
    assert len(list(tmp_path.iterdir())) == 1


@needs_posix
def test_an_encoder_that_dies_is_told_with_its_last_words(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    encoder_that(tmp_path, "head -c 400000 >/dev/null\nfor n in $(seq 40); do echo line $n >&2; done\nexit 3\n", monkeypatch)
    (tmp_path / "films").mkdir()
    with pytest.raises(EncoderError, match="code 3") as raised:
        write(tmp_path / "films" / "film.mp4", 50)
    assert raised.value.log.splitlines() == [f"line {n}" for n in range(26, 41)]
    assert raised.value.remedy
    assert list((tmp_path / "films").iterdir()) == []


@needs_posix
def test_an_encoder_that_is_killed_leaves_nothing(tmp_path: Path) -> None:
    with (
        pytest.raises(EncoderError, match="code -9"),
        FilmWriter(tmp_path / "film.mp4", size=SIZE, fps=RATE, quality=70) as film,
    ):
        for done, frame in enumerate(noise(400)):
            film.write(frame)
            if done == 5:
                film._encoder.kill()
    assert list(tmp_path.iterdir()) == []


@needs_posix
def test_an_encoder_that_fails_only_at_the_end_is_noticed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    encoder_that(tmp_path, "cat >/dev/null\necho came to grief >&2\nexit 1\n", monkeypatch)
    (tmp_path / "films").mkdir()
    with pytest.raises(EncoderError) as raised:
        write(tmp_path / "films" / "film.mp4")
    assert raised.value.log == "came to grief"
    assert list((tmp_path / "films").iterdir()) == []


@needs_posix
@pytest.mark.parametrize(
    ("words", "kind"),
    [("No space left on device", DiskFullError), ("File too large", OutputError), ("Disk quota exceeded", DiskFullError)],
)
def test_what_the_disk_says_is_told_as_such(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: str, kind: type[Exception]
) -> None:
    encoder_that(tmp_path, f"head -c 400000 >/dev/null\necho 'write: {words}' >&2\nexit 1\n", monkeypatch)
    with pytest.raises(kind):
        write(tmp_path / "film.mp4", 50)


@needs_posix
@pytest.mark.parametrize("form", [FilmFormat.H264, FilmFormat.PQ, FilmFormat.FFV1, FilmFormat.GIF])
def test_an_encoder_that_only_says_it_did_the_work_is_not_believed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, form: FilmFormat
) -> None:
    encoder_that(tmp_path, "cat >/dev/null\nexit 0\n", monkeypatch)
    (tmp_path / "films").mkdir()
    with (
        pytest.raises(EncoderError, match=r"can't be (read as a film|opened)"),
        FilmWriter(tmp_path / "films" / "film", size=SIZE, fps=RATE, quality=70, form=form) as film,
    ):
        film.write(film_frame(np.zeros((180, 320, 3), np.uint8), form, 0))
        film.finish()
    assert list((tmp_path / "films").iterdir()) == []


GOOD = FilmCheck(6, SIZE, RATE, 0.24, "avc1", (1, 1, 1, 1), 40.0)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"frames": 5}, "5 of 6 frames"),
        ({"size": (320, 182)}, "320 x 182"),
        ({"fps": Fraction(24)}, "24 frames a second"),
        ({"seconds": 0.3}, "0.300 s"),
        ({"tag": "avc3"}, "avc3"),
        ({"colour": (1, 13, 1, 1)}, "colour"),
        ({"psnr_db": 9.0}, "pictures differ"),
        ({"light_level": (100, 50)}, "light level"),
    ],
)
def test_a_film_that_holds_something_else_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, wrong: dict[str, Any], said: str
) -> None:
    monkeypatch.setattr("lapsebench.io.filmcheck._film", lambda *_: replace(GOOD, **wrong))
    with pytest.raises(EncoderError, match=f"not what was sent.*{said}"):
        write(tmp_path / "film.mp4")
    assert list(tmp_path.iterdir()) == []


@needs_posix
@pytest.mark.parametrize("change", ["eq=brightness=0.06", "hflip", "scale=out_range=pc:in_range=tv", "hue=h=25"])
def test_an_encoder_that_changes_the_pictures_is_found_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, change: str
) -> None:
    real = encoder_program()
    change_all = f'set -- "$@" "$(printf %s "$a" | sed "s/setparams=/{change},setparams=/")"'
    encoder_that(tmp_path, f'i=0; for a; do [ $i = 0 ] && set --; i=1; {change_all}; done; exec "{real}" "$@"', monkeypatch)
    picture = (60 + 140 * np.mgrid[0:180, 0:320][1] / 320)[..., None] * np.array([1, 0.8, 0.5])
    frame = film_frame(picture.astype(np.uint8), FilmFormat.H264, 0)
    with (
        pytest.raises(EncoderError, match="pictures differ"),
        FilmWriter(tmp_path / "film.mp4", size=SIZE, fps=RATE, quality=70) as film,
    ):
        film.write(frame)
        film.finish()


def test_a_missing_encoder_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("IMAGEIO_FFMPEG_EXE", str(tmp_path / "not there"))
    with pytest.raises(EncoderError, match="can't be started"):
        write(tmp_path / "film.mp4")

    def none() -> str:
        raise RuntimeError("none found")

    monkeypatch.setattr("imageio_ffmpeg.get_ffmpeg_exe", none)
    with pytest.raises(EncoderError, match="can't be started"):
        write(tmp_path / "film.mp4")
    assert list(tmp_path.iterdir()) == []


def test_a_film_without_frames_is_a_mistake_of_ours(tmp_path: Path) -> None:
    with (
        pytest.raises(ValueError, match="without frames"),
        FilmWriter(tmp_path / "f.mp4", size=SIZE, fps=RATE, quality=70) as film,
    ):
        film.finish()
    assert list(tmp_path.iterdir()) == []


def test_a_frame_of_another_size_is_a_mistake_of_ours(tmp_path: Path) -> None:
    with (
        pytest.raises(ValueError, match="in a film of"),
        FilmWriter(tmp_path / "f.mp4", size=SIZE, fps=RATE, quality=70) as film,
    ):
        film.write(next(noise(1, (318, 180))))


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 300 kB; skips where none can be made."""
    folder = tmp_path / "disk"
    folder.mkdir()
    if (
        sys.platform != "linux"
        or subprocess.run(["mount", "-t", "tmpfs", "-o", "size=300k", "none", folder], check=False).returncode
    ):
        pytest.skip("a full disk needs the right to mount one")
    yield folder
    subprocess.run(["umount", folder], check=True)


def test_a_full_disk_is_told_and_left_empty(small_disk: Path) -> None:
    with pytest.raises(DiskFullError, match="full"):
        write(small_disk / "film.mp4", 150, quality=100)
    assert list(small_disk.iterdir()) == []


def test_a_film_that_can_not_fit_is_refused_before_it_starts(tmp_path: Path) -> None:
    fits(tmp_path / "film.mp4", 1000)
    with pytest.raises(DiskFullError, match="free"):
        fits(tmp_path / "film.mp4", 10**18)


@pytest.mark.parametrize("name", ["film.avi", "frame.jpg", "2026.02.11"])
def test_other_kinds_of_file_are_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(OutputError, match=r"\.mp4 or \.mov"):
        film_path(tmp_path / name)


def test_missing_folders_and_folders_in_the_way_are_told(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="does not exist"):
        film_path(tmp_path / "nowhere" / "film.mp4")
    (tmp_path / "film.mp4").mkdir()
    for folder in (tmp_path / "film.mp4", tmp_path / "film", tmp_path, Path(), Path("/")):
        with pytest.raises(OutputError, match="is a folder"):
            film_path(folder, overwrite=True)


def test_a_folder_that_can_not_be_written_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(_path: Path, *, exist_ok: bool) -> None:
        raise PermissionError(13, "Permission denied", str(exist_ok))

    monkeypatch.setattr(Path, "touch", refuse)
    with pytest.raises(OutputError, match="can't be written to: Permission denied"):
        write(tmp_path / "film.mp4")


def test_a_source_is_never_the_output(tmp_path: Path) -> None:
    source = tmp_path / "frame.mp4"
    source.write_bytes(b"pixels")
    (tmp_path / "link.mp4").symlink_to(source)
    (tmp_path / "hard.mov").hardlink_to(source)
    for name in ("frame.mp4", "link.mp4", "hard.mov", "./frame.mp4"):
        with pytest.raises(OutputError, match="one of your source frames"):
            film_path(tmp_path / name, overwrite=True, sources=[tmp_path / "gone.jpg", source])


def test_what_a_killed_program_left_is_swept_away_later(tmp_path: Path) -> None:
    old, new, other = (
        tmp_path / name for name in (".film.partial-1-aa.mp4", ".film.partial-2-bb.mp4", ".reel.partial-1-aa.mp4")
    )
    for path in (old, new, other):
        path.touch()
    hours_ago = time.time() - 7200
    os.utime(old, (hours_ago, hours_ago))
    os.utime(other, (hours_ago, hours_ago))
    made = partial_path(tmp_path / "film.mp4")
    assert set(tmp_path.iterdir()) == {new, other, made}


@pytest.mark.parametrize("size", [(321, 180), (320, 181), (0, 0)])
def test_odd_sizes_are_refused(size: tuple[int, int]) -> None:
    with pytest.raises(OutputError, match="even"):
        check_size(size, Fraction(25))


def test_sizes_and_rates_beyond_the_format_are_refused() -> None:
    check_size((8192, 4352), Fraction(60))
    check_size((6000, 4000), Fraction(60))
    for size in ((8256, 5504), (8192, 5460), (9504, 6336)):
        with pytest.raises(OutputError, match="smaller size"):
            check_size(size, Fraction(25))
    for fps in (Fraction(0), Fraction(-25), Fraction(241), Fraction(200)):
        with pytest.raises(OutputError, match="frames a second"):
            check_size((8192, 4352), fps)


def test_a_folder_that_is_gone_while_filming_is_told_in_words(tmp_path: Path) -> None:
    """As when a drive is pulled out: words, no traceback, and nothing under the film's name."""
    folder = tmp_path / "drive"
    folder.mkdir()
    picture = np.full((180, 320, 3), 90, np.uint8)
    with (
        pytest.raises(LapsebenchError) as told,
        FilmWriter(folder / "film.mp4", size=SIZE, fps=RATE, quality=70) as film,
    ):
        for number in range(5):
            film.write(film_frame(picture, FilmFormat.H264, number))
        shutil.rmtree(folder)
        film.finish()
    assert told.value.what
    assert told.value.remedy
    assert not folder.exists()
