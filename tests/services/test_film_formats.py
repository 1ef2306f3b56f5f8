"""Films of stills in every format, from files on disk to frames decoded again."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from fractions import Fraction
from pathlib import Path

import av
import colour
import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from lapsebench.core.filmlight import FilmLight
from lapsebench.core.filmsettings import FilmSettings
from lapsebench.core.formatfacts import FilmKind
from lapsebench.core.formats import FilmFormat
from lapsebench.core.project import Project
from lapsebench.core.sequence import Frame
from lapsebench.core.transfer import srgb_to_linear
from lapsebench.errors import Cancelled, OutputError
from lapsebench.services.film import FilmDone, check_output, make_film
from lapsebench.services.filmreport import film_report

SIZE = (320, 200)
ALL = [form for form in FilmFormat if form.facts.kind is FilmKind.FILM]


def scene(shift: int = 0, top: int = 255) -> NDArray[np.float64]:
    """Smooth coloured waves in codes, 0..top."""
    x, y = np.meshgrid(np.arange(SIZE[0]) + shift, np.arange(SIZE[1]))
    waves = [np.sin(x / 40), np.sin(y / 30 + x / 90), np.cos((x + y) / 50)]
    return np.asarray((0.45 + 0.35 * np.stack(waves, axis=-1)) * top)


def night(folder: Path, count: int, form: FilmFormat, *, deep: bool = False, **film: object) -> Project:
    """Write stills, 8 or 16 bits, and return their project."""
    frames = []
    for n in range(count):
        path = folder / f"{n}.png"
        codes = scene(9 * n, 65535).astype(np.uint16) if deep else scene(9 * n).astype(np.uint8)
        assert cv2.imwrite(str(path), codes[..., ::-1])
        frames.append(Frame(path, taken=datetime(2026, 2, 11, 22, 10, 5 + n)))
    return Project(frames=tuple(frames), film=FilmSettings(quality=100, format=form, **film))  # type: ignore[arg-type]


def filmed(project: Project, output: Path, *gain_ev: float, overwrite: bool = False) -> FilmDone:
    gains = np.array(gain_ev or [0.0] * len(project.frames))
    light = FilmLight(gains, gains, gains)
    return make_film(project, light, output, frames=range(len(project.frames)), overwrite=overwrite)


def luma(path: Path) -> list[NDArray[np.float64]]:
    """Return luma of every frame, 0 black and 1 white; of RGB, G."""
    frames = []
    with av.open(path) as film:
        for frame in film.decode(video=0):
            bits = frame.format.components[0].bits
            row = np.frombuffer(memoryview(frame.planes[0]), "<u2" if bits > 8 else "u1").reshape(frame.height, -1)
            codes = row[:, : frame.width].astype(float)
            frames.append(codes / 65535 if bits == 16 else (codes / 2.0 ** (bits - 8) - 16) / 219)
    return frames


@pytest.mark.parametrize("form", ALL)
@pytest.mark.parametrize("deep", [False, True], ids=["8 bits", "16 bits"])
def test_every_format_films_the_stills(tmp_path: Path, form: FilmFormat, deep: bool) -> None:
    done = filmed(night(tmp_path, 4, form, deep=deep), tmp_path / "film")
    assert done.path == tmp_path / f"film{form.facts.suffixes[0]}"
    assert done.check is not None
    assert (done.check.frames, done.size) == (4, SIZE)
    assert done.seconds == pytest.approx(0.16)
    frames = luma(done.path)
    assert len(frames) == 4
    if form.facts.hdr:
        return
    for n in (0, 3):
        codes = scene(9 * n) / 255
        told = codes[..., 1] if form is FilmFormat.FFV1 else codes @ [0.2126, 0.7152, 0.0722]
        assert np.abs(frames[n] - told).mean() * 255 < 0.8


def test_sixteen_bit_stills_reach_ten_bit_films_without_steps(tmp_path: Path) -> None:
    """A gradient over four 8-bit codes has some sixteen levels in 10 bits, and is followed to a fraction of one."""
    ramp = np.broadcast_to(np.linspace(20, 24, 640)[None, :, None], (160, 640, 3))
    path = tmp_path / "ramp.png"
    assert cv2.imwrite(str(path), np.rint(ramp * 257).astype(np.uint16))
    project = Project(frames=(Frame(path),) * 4, film=FilmSettings(quality=100, format=FilmFormat.PRORES))
    found = np.mean(luma(filmed(project, tmp_path / "film.mov").path), axis=0)
    blocks = found.reshape(10, 16, 40, 16).mean((0, 1, 3))
    assert np.abs(blocks * 255 - np.linspace(20, 24, 640).reshape(40, 16).mean(1)).max() < 0.08


@pytest.mark.parametrize("form", [FilmFormat.HLG, FilmFormat.PQ, FilmFormat.EXR])
def test_a_raised_frame_goes_above_white_where_the_film_can(tmp_path: Path, form: FilmFormat) -> None:
    white = tmp_path / "white.png"
    assert cv2.imwrite(str(white), np.full((200, 320, 3), 255, np.uint8))
    project = Project(frames=(Frame(white), Frame(white)), film=FilmSettings(quality=100, format=form))
    done = filmed(project, tmp_path / "film", 0.0, 1.0)
    if form is FilmFormat.EXR:
        with av.open(done.path / "film_00002.exr") as picture:
            frame = next(picture.decode(video=0))
        kind = "<f2" if "16" in frame.format.name else "<f4"
        assert np.frombuffer(memoryview(frame.planes[0]), kind)[0] == pytest.approx(2, abs=0.01)
        return
    plain, raised = (f.mean() for f in luma(done.path))
    nits = np.array([203.0, 406.0])  # Report BT.2408; the signals by colour-science
    hlg = colour.models.oetf_BT2100_HLG((nits / 1000) ** (1 / 1.2))
    told = hlg if form is FilmFormat.HLG else colour.models.eotf_inverse_ST2084(nits)
    assert [plain, raised] == pytest.approx(told, abs=0.003)


def test_the_first_frames_time_is_the_timecode(tmp_path: Path) -> None:
    done = filmed(night(tmp_path, 2, FilmFormat.PRORES), tmp_path / "night of arcs.mov")
    with av.open(done.path) as film:
        assert film.metadata["title"] == "night of arcs"
        assert film.streams.video[0].metadata["timecode"] == "22:10:05:00"


@pytest.mark.parametrize("form", [FilmFormat.GIF, FilmFormat.WEBP])
def test_a_loop_is_small_and_slow_and_as_long_as_the_film(tmp_path: Path, form: FilmFormat) -> None:
    project = night(tmp_path, 10, form, size=(1600, 1000), fps=Fraction(25))
    done = filmed(project, tmp_path / "loop")
    assert done.size == (640, 400)
    assert done.frames == (0, 2, 4, 6, 8)
    assert done.fps == Fraction(25, 2)
    assert done.seconds == pytest.approx(0.4)
    with Image.open(done.path) as loop:
        assert loop.size == (640, 400)
        first = np.asarray(loop.convert("RGB"), float)
    told = cv2.resize(scene().astype(np.uint8), (640, 400), interpolation=cv2.INTER_CUBIC)
    small = (80, 50)  # 256 colours are laid out as a pattern: over an area they make the picture
    areas = [cv2.resize(one.astype(np.float32), small, interpolation=cv2.INTER_AREA) for one in (first, told)]
    assert np.abs(areas[0] - areas[1]).mean() < 4


@pytest.mark.parametrize("form", [FilmFormat.TIFF, FilmFormat.EXR])
def test_a_folder_of_frames_goes_on_where_it_was_cancelled(tmp_path: Path, form: FilmFormat) -> None:
    (tmp_path / "stills").mkdir()
    project = night(tmp_path / "stills", 6, form)
    light = FilmLight(*(np.zeros(6),) * 3)

    def stop(done: int, total: int) -> None:
        if done == total // 2:
            raise Cancelled

    with pytest.raises(Cancelled):
        make_film(project, light, tmp_path / "out", frames=range(6), tick=stop)
    kept = {entry.name: entry.stat().st_mtime_ns for entry in (tmp_path / "out").glob("out_*")}
    assert 3 <= len(kept) < 6
    done = make_film(project, light, tmp_path / "out", frames=range(6))
    assert {name: (tmp_path / "out" / name).stat().st_mtime_ns for name in kept} == kept
    assert len(list((tmp_path / "out").glob("out_*"))) == len(done.frames) == 6
    assert done.bytes > sum(file.stat().st_size for file in (tmp_path / "out").glob("out_*"))
    with pytest.raises(OutputError, match="another film"):
        filmed(project, tmp_path / "out", *[0.2] * 6)
    assert filmed(project, tmp_path / "out", *[0.2] * 6, overwrite=True).path == tmp_path / "out"


def test_hardware_that_is_not_there_falls_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[FilmFormat] = []
    monkeypatch.setattr("lapsebench.services.film.hardware_encoder", asked.append)
    done = filmed(night(tmp_path, 2, FilmFormat.H264, hardware=True), tmp_path / "film")
    assert asked == [FilmFormat.H264]
    assert done.check is not None and done.check.tag == "avc1"


def test_an_encoder_of_another_name_makes_the_same_film(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lapsebench.services.film.hardware_encoder", lambda _form: "libopenh264")
    monkeypatch.setattr("lapsebench.io.encoders.hardware_codec", lambda name, _quality: ["-c:v", name, "-b:v", "4M"])
    done = filmed(night(tmp_path, 2, FilmFormat.H264, hardware=True), tmp_path / "film")
    with av.open(done.path) as film:
        assert "openh264" in film.streams.video[0].metadata["encoder"]


def test_the_report_tells_what_was_found(tmp_path: Path) -> None:
    project = night(tmp_path, 3, FilmFormat.PQ)
    told = film_report(filmed(project, tmp_path / "film"), project.film)
    assert (told["file"], told["format"], told["frames"], told["fps"]) == ("film.mp4", "pq", 3, "25")
    check = told["check"]
    assert (check["tag"], check["colour"], check["frames"]) == ("hvc1", [9, 16, 9, 1], 3)
    assert check["psnr_db"] > 40
    assert 0 < check["light_level"][1] <= check["light_level"][0] <= 203
    whole = replace(project, film=replace(project.film, format=FilmFormat.FFV1))
    assert film_report(filmed(whole, tmp_path / "film"), whole.film)["check"]["psnr_db"] is None


def test_a_name_is_checked_for_the_projects_format(tmp_path: Path) -> None:
    project = night(tmp_path, 1, FilmFormat.PRORES)
    assert check_output(tmp_path / "film", project=project) == tmp_path / "film.mov"
    with pytest.raises(OutputError, match=r"End the name in \.mov"):
        check_output(tmp_path / "film.mp4", project=project)
    assert check_output(tmp_path / "film.mp4", project=project, form=FilmFormat.H264) == tmp_path / "film.mp4"


def test_light_is_evened_alike_in_every_format(tmp_path: Path) -> None:
    """A gain of half a stop is half a stop of light in the film, 8 and 10 bits alike."""
    grey = tmp_path / "grey.png"
    assert cv2.imwrite(str(grey), np.full((200, 320, 3), 90, np.uint8))
    for form in (FilmFormat.H264, FilmFormat.HEVC, FilmFormat.PRORES, FilmFormat.FFV1):
        project = Project(frames=(Frame(grey),) * 2, film=FilmSettings(quality=100, format=form))
        one, other = (
            srgb_to_linear(f.mean())
            for f in luma(filmed(project, tmp_path / f"film{form.facts.suffixes[0]}", 0.0, 0.5, overwrite=True).path)
        )
        assert np.log2(other / one) == pytest.approx(0.5, abs=0.03 if form is FilmFormat.H264 else 0.01)
