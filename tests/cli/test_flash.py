"""The flash command: verdict, passages, JSON and exit codes on real film files, none of which it changes."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import colour
import numpy as np
import pytest

from lapsebench.cli.main import run as run_command
from lapsebench.core.flash import CAUTION, Verdict
from lapsebench.errors import Cancelled
from lapsebench.services.flashcheck import check_film

FPS = 24


def run(*words: object) -> int:
    return run_command([str(word) for word in words], open_window=lambda *_: 1)


def write_film(path: Path, codes: Iterable[int]) -> Path:
    """Write full frames of grey codes without loss: an .mkv by ffv1 with R'G'B' codes, an .mp4 by H.264 with Y'CbCr."""
    with av.open(str(path), "w") as container:
        exact, rate = path.suffix == ".mkv", Fraction(FPS)
        stream = container.add_stream("ffv1", rate=rate) if exact else container.add_stream("libx264", rate=rate)
        stream.width, stream.height, stream.pix_fmt = 192, 108, "bgr0" if exact else "yuv444p"
        if not exact:
            stream.options = {"qp": "0"}
        for code in codes:
            frame = av.VideoFrame.from_ndarray(np.full((108, 192, 3), code, np.uint8), format="rgb24")
            container.mux(stream.encode(frame.reformat(format=stream.pix_fmt)))
        container.mux(stream.encode())
    return path


def swings(dark: int, light: int, *, hz: float, seconds: float = 3) -> list[int]:
    return [light if int(2 * hz * k / FPS + 1e-9) % 2 else dark for k in range(round(seconds * FPS))]


@pytest.mark.parametrize(
    ("dark", "light", "hz", "verdict"),
    [
        (0, 255, 4, Verdict.FAILS),
        (0, 255, 2, Verdict.SAFE),
        (0, 90, 8, Verdict.FAILS),
        (0, 89, 8, Verdict.SAFE),
        (231, 255, 8, Verdict.FAILS),
        (232, 255, 8, Verdict.SAFE),
    ],
)
def test_files_are_judged_by_their_exact_codes(tmp_path: Path, dark: int, light: int, hz: float, verdict: Verdict) -> None:
    """The codes on either side of the limits of WCAG 2.2; see the checks against the standards."""
    film = write_film(tmp_path / "film.mkv", swings(dark, light, hz=hz))
    assert check_film(film).verdict is verdict


@pytest.mark.parametrize(("tag", "verdict"), [(16, Verdict.FAILS), (1, Verdict.SAFE)])
def test_hdr_is_judged_above_white_too(tmp_path: Path, tag: int, verdict: Verdict) -> None:
    """165 and 190 cd/m² by SMPTE ST 2084: BT.1702-3 counts a Michelson contrast of 1/17. As SDR they differ too little."""
    levels = np.rint(1023 * colour.models.eotf_inverse_ST2084(np.array([165, 190]))).astype("<u2")
    path = tmp_path / "hdr.mkv"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("ffv1", rate=Fraction(FPS))
        stream.width, stream.height, stream.pix_fmt = 64, 48, "gbrp10le"
        stream.codec_context.color_trc = tag
        for k in range(3 * FPS):
            frame = av.VideoFrame(64, 48, "gbrp10le")
            for plane in frame.planes:
                plane.update(np.full((48, plane.line_size // 2), levels[k // 3 % 2]).tobytes())
            frame.color_trc = tag
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    assert check_film(path).verdict is verdict


def test_a_failing_film_is_told_in_words_and_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    codes = [16] * FPS + swings(16, 235, hz=6, seconds=2) + [16] * FPS
    film = write_film(tmp_path / "strobe.mp4", codes)
    before = hashlib.sha256(film.read_bytes()).hexdigest()
    assert run("flash", film, "--json", tmp_path / "r.json") == 0
    said = capsys.readouterr()
    assert "strobe.mp4: fails. 96 frames, 4.00 s." in said.out
    assert "0:00:01.08 to 0:00:03.00, frames 27 to 73: fails WCAG 2.2: general, 6 flashes a second over 100%" in said.out
    assert "--ramp" in said.out and CAUTION in said.out
    assert "Looking for flashes: 96 of 96 frames" in said.err
    report: dict[str, Any] = json.loads((tmp_path / "r.json").read_text())
    assert (report["format"], report["version"], report["verdict"]) == ("lapsebench.flash", 1, "fails")
    assert report["frames"] == 96 and report["seconds"] == pytest.approx(4, abs=1e-3)
    first = report["findings"][0]
    assert (first["kind"], first["rule"], first["text"], first["verdict"]) == ("general", None, "WCAG 2.2", "fails")
    assert (first["first_frame"], first["last_frame"]) == (26, 72)
    assert (first["start_s"], first["end_s"]) == pytest.approx((26 / FPS, 72 / FPS), abs=1e-3)
    assert len(first["box"]) == 4
    assert {worst["kind"]: worst["flashes_per_s"] for worst in report["worst"]} == {"general": 6, "red": 0}
    assert report["problem"] is None and report["caution"] == CAUTION
    assert hashlib.sha256(film.read_bytes()).hexdigest() == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["r.json", "strobe.mp4"]


def test_strict_makes_a_failing_film_a_failure(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    film = write_film(tmp_path / "strobe.mp4", swings(0, 255, hz=6))
    assert run("flash", film) == 0
    assert run("flash", film, "--strict", "--json", tmp_path / "r.json") == 1
    assert "strobe.mp4 flashes too much" in capsys.readouterr().err
    assert (tmp_path / "r.json").exists()
    assert run("flash", write_film(tmp_path / "calm.mp4", [90] * 40), "--strict") == 0


def test_long_flashing_is_a_warning(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("flash", write_film(tmp_path / "long.mp4", swings(0, 255, hz=2.5, seconds=7)), "--strict") == 0
    said = capsys.readouterr().out
    assert "long.mp4: warning." in said
    assert "goes on too long for ITU-R BT.1702-3" in said


def test_a_calm_film_is_safe_and_gets_no_advice(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    slow = [round(100 + 80 * np.sin(k / 30)) for k in range(120)]
    assert run("flash", write_film(tmp_path / "calm.mp4", slow)) == 0
    said = capsys.readouterr().out
    assert "calm.mp4: safe by these texts." in said
    assert "--ramp" not in said and CAUTION in said


def test_our_own_film_is_examined(make_frames: Callable[..., Path], tmp_path: Path) -> None:
    assert run("film", make_frames(10), "-o", tmp_path / "own.mp4") == 0
    report = check_film(tmp_path / "own.mp4")
    assert (report.frames, report.verdict, report.problem) == (10, Verdict.SAFE, "")


def test_a_damaged_film_is_examined_as_far_as_it_goes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    whole = write_film(tmp_path / "whole.mkv", swings(0, 255, hz=6, seconds=4))
    cut = tmp_path / "cut.mkv"
    cut.write_bytes(whole.read_bytes()[: whole.stat().st_size * 7 // 10])
    assert run("flash", cut, "--json", tmp_path / "r.json") == 0
    said = capsys.readouterr()
    assert "of 96 frames of cut.mkv could be read" in said.err
    assert "cut.mkv: fails." in said.out
    assert "cut.mkv" in json.loads((tmp_path / "r.json").read_text())["problem"]


def test_what_is_no_video_ends_in_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "notes.txt").write_text("cold and clear")
    for name in ("notes.txt", "nothing.mp4"):
        assert run("flash", tmp_path / name) == 1
        said = capsys.readouterr().err
        assert name in said and len(said.strip().splitlines()) == 1


def test_the_report_replaces_an_earlier_one_and_nothing_else(tmp_path: Path) -> None:
    film = write_film(tmp_path / "calm.mp4", [90] * 10)
    assert run("flash", film, "--json", tmp_path / "r.json") == 0
    assert run("flash", film, "--json", tmp_path / "r.json") == 0
    before = film.read_bytes()
    assert run("flash", film, "--json", film) == 1
    assert film.read_bytes() == before


def test_the_check_can_be_cancelled(tmp_path: Path) -> None:
    film = write_film(tmp_path / "calm.mp4", [90] * 30)
    seen: list[tuple[int, int]] = []

    def tick(done: int, total: int) -> None:
        seen.append((done, total))
        if done == 5:
            raise Cancelled

    with pytest.raises(Cancelled):
        check_film(film, tick=tick)
    assert seen == [(k, 30) for k in range(1, 6)]


def test_a_film_must_be_named() -> None:
    with pytest.raises(SystemExit) as ended:
        run("flash")
    assert ended.value.code == 2
