"""The camera's curve from frames to film: bands meet at setting changes, shots share it, and the project keeps it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from lapsebench.core.curves import CameraCurve, kind_of
from lapsebench.core.filmlight import LightSettings
from lapsebench.core.project import Project
from lapsebench.core.response import Origin
from lapsebench.core.transfer import linear_to_srgb
from lapsebench.io.projectfile import load_project, save_project
from lapsebench.services.film import make_film
from lapsebench.services.report import survey_report
from lapsebench.services.survey import gather, level, needs_resplit, resplit, responses_at, survey

SIZE = (258, 384)
SHUTTERS = {0: 8.0, -1: 4.0, -2: 2.0}


def shoot(folder: Path, stops: list[int], *, start: int = 0, focal: int = 20) -> None:
    """Write JPEGs of one scene through a contrasty tone curve, exposed by `stops`, with what a camera notes in them."""
    random = np.random.default_rng(5)
    scene = 2.0 ** random.uniform(-6.5, -0.6, (43, 64, 1)).repeat(6, axis=0).repeat(6, axis=1) * np.array([0.8, 1.0, 0.7])
    for i, stop in enumerate(stops, start=start):
        light = scene * 2.0 ** (stop + random.normal(0, 0.02)) * (1 + random.normal(0, 0.02, scene.shape))
        plain = linear_to_srgb(np.clip(light, 0, 1))
        codes = plain**1.35 / (plain**1.35 + (1 - plain) ** 1.35)
        exif = Image.Exif()
        exif[0x010F], exif[0x0110] = "Velmar", "N2"
        marks = exif.get_ifd(0x8769)
        marks[0x9003] = f"2026:02:11 {21 + i // 360}:{i // 6 % 60:02}:{i % 6 * 10:02}"
        marks[0x829A], marks[0x829D], marks[0x8827], marks[0x920A] = SHUTTERS[stop], 2.8, 1600, focal
        picture = Image.fromarray(np.rint(255 * codes).astype(np.uint8))
        picture.save(folder / f"N{i:04}.jpg", quality=97, subsampling=0, exif=exif)


@pytest.fixture
def night(tmp_path: Path) -> Path:
    folder = tmp_path / "night"
    folder.mkdir()
    shoot(folder, [0] * 6 + [-1] * 6 + [0] * 6 + [-2] * 6 + [-1] * 6)
    return folder


def film_frames(path: Path) -> list[NDArray[np.uint8]]:
    film, frames = cv2.VideoCapture(str(path)), []
    while (read := film.read())[0]:
        frames.append(read[1][..., ::-1].astype(np.uint8))
    return frames


def test_shadows_mids_and_highlights_meet_in_the_film(night: Path, tmp_path: Path) -> None:
    project, _ = gather([night])
    steady = LightSettings(sky_kept=0.0, brightness_ev=-0.3)
    surveyed = survey(replace(project, light=steady, film=replace(project.film, quality=100)))
    responses = responses_at(surveyed)
    assert responses[0][1].origin is Origin.MEASURED
    light = level(surveyed, surveyed.project)
    make_film(surveyed.project, light, tmp_path / "film.mp4", responses=responses)
    shown = [responses[0][1].stops(np.maximum(frame[..., 1], 1) / 255) for frame in film_frames(tmp_path / "film.mp4")]
    tiles = np.array([cv2.resize(picture, (64, 43), interpolation=cv2.INTER_AREA) for picture in shown]).reshape(30, -1)
    bands = np.array_split(np.argsort(tiles[0])[300:-300], 3)
    for at in (6, 12, 18, 24):
        steps = [float(np.median(tiles[at, band] - tiles[at - 1, band])) for band in bands]
        print("steps left in shadows, mids, highlights:", np.round(steps, 3))
        assert np.abs(steps).max() < 0.06
        assert abs(np.mean(tiles[at] - tiles[at - 1])) < 0.03


def test_switched_off_both_measuring_and_applying_are_in_srgb(night: Path) -> None:
    surveyed = survey(gather([night])[0])
    off = replace(surveyed.project, use_curve=False)
    assert needs_resplit(surveyed, off)
    plain = resplit(surveyed, off)
    assert {channel.origin for channel in responses_at(plain)[0]} == {Origin.OFF}
    assert not needs_resplit(plain, off)
    assert np.abs(plain.light.luminance_ev - surveyed.light.luminance_ev).max() > 0.2
    again = resplit(plain, replace(off, use_curve=True))
    np.testing.assert_allclose(again.light.received_ev, surveyed.light.received_ev)


def test_a_shot_that_tells_nothing_gets_the_curve_of_its_camera(night: Path) -> None:
    shoot(night, [-1] * 6, start=30, focal=35)
    surveyed = survey(gather([night])[0])
    assert len(surveyed.project.shots) == 2
    first, second = surveyed.responses
    assert second == first
    assert second[1].estimated


def test_the_curve_is_kept_in_the_project(night: Path, tmp_path: Path) -> None:
    surveyed = survey(gather([night])[0])
    path = tmp_path / "a.lapsebench"
    save_project(replace(surveyed.project, use_curve=False), path)
    loaded = load_project(path)
    assert loaded.curves == surveyed.project.curves
    assert not loaded.use_curve
    kept = CameraCurve(kind_of(loaded.frames[0]), loaded.curves[0].responses[::-1])
    assert survey(replace(loaded, curves=(kept,))).project.curves == (kept,)


def test_the_report_tells_where_the_curve_is_from(night: Path) -> None:
    surveyed = survey(gather([night])[0])
    report = survey_report(surveyed, surveyed.project, level(surveyed, surveyed.project))["response"]
    assert (report["curve"], report["origin"], report["changes"], report["used"]) == ("camera", "measured", 4, True)
    assert len(report["codes"]) == len(report["ev"]["g"])


def test_a_project_without_curves_opens(tmp_path: Path) -> None:
    save_project(Project(), tmp_path / "a.lapsebench")
    text = (tmp_path / "a.lapsebench").read_text()
    assert '"curves": []' in text
    (tmp_path / "a.lapsebench").write_text(text.replace('"curves"', '"unknown"').replace('"use_curve"', '"other"'))
    loaded = load_project(tmp_path / "a.lapsebench")
    assert (loaded.curves, loaded.use_curve) == ((), True)
