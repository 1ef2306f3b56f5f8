"""Encoders of graphics processors are offered only where they work."""

from __future__ import annotations

from pathlib import Path

import pytest

from lapsebench.core.formats import FilmFormat
from lapsebench.io import hardware
from lapsebench.io.hardware import hardware_encoder, works


@pytest.mark.parametrize("deep", [False, True])
def test_a_trial_tells_a_working_encoder_from_one_that_is_not_there(deep: bool) -> None:
    assert works("libx264", deep=deep)
    assert not works("h264_nowhere", deep=deep)


def test_a_trial_is_made_once_a_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert works("libx264")
    monkeypatch.setenv("IMAGEIO_FFMPEG_EXE", str(tmp_path / "gone"))
    assert works("libx264")


def test_the_first_that_works_is_taken_and_only_for_formats_that_have_any(monkeypatch: pytest.MonkeyPatch) -> None:
    tried = []

    def trial(name: str, *, deep: bool) -> bool:
        tried.append((name, deep))
        return name.endswith("_second")

    monkeypatch.setattr(hardware, "works", trial)
    monkeypatch.setattr(hardware, "_KINDS", ("first", "second", "third"))
    assert hardware_encoder(FilmFormat.H264) == "h264_second"
    assert hardware_encoder(FilmFormat.HEVC) == "hevc_second"
    assert tried == [("h264_first", False), ("h264_second", False), ("hevc_first", True), ("hevc_second", True)]
    assert hardware_encoder(FilmFormat.PRORES) is None
    monkeypatch.setattr(hardware, "_KINDS", ("first",))
    assert hardware_encoder(FilmFormat.H264) is None
