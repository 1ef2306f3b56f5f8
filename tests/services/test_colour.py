"""White balance that wandered, from stills on disk to the film's pixels; what the sky did to the colour stays."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import av
import numpy as np
import pytest
from nights.families import FAMILIES
from nights.night import shoot_night
from nights.program import decoded as light_of
from numpy.typing import NDArray
from PIL import Image

from lapsebench.core.filmsettings import FilmSettings
from lapsebench.core.sequence import Shot
from lapsebench.core.transfer import linear_to_srgb, srgb_to_linear
from lapsebench.imaging.proxy import measure_frame
from lapsebench.services.film import make_film
from lapsebench.services.report import survey_report
from lapsebench.services.shotlight import light_of_shot
from lapsebench.services.survey import Survey, gather, level, responses_at, survey

Floats = NDArray[np.float64]
N = 30
HEIGHT, WIDTH = 192, 288


def balance() -> Floats:
    """Return log2 of what the camera does to R and B, (N, 2): a step, and ten frames of wandering from one to the next."""
    changes = 0.2 * np.outer(np.arange(N) >= 10, [1.0, -0.5])
    changes[16:26] += np.random.default_rng(4).uniform(-0.25, 0.25, (10, 2))
    return changes


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Survey:
    """Return the survey of a still scene under a camera whose white balance wanders, with a setting change of a stop."""
    folder = tmp_path_factory.mktemp("wandering")
    random = np.random.default_rng(1)
    scene = 0.09 * np.exp2(random.normal(0, 0.7, (HEIGHT // 16, WIDTH // 16, 1))) * [0.8, 1.0, 0.9]
    scene = np.clip(scene.repeat(16, axis=0).repeat(16, axis=1), 0.005, 0.5)
    for i, (red, blue) in enumerate(balance()):
        short = i >= 20
        light = scene * np.exp2([red, 0, blue]) * (0.5 if short else 1) + random.normal(0, 5e-4, scene.shape)
        exif = Image.Exif()
        marks = exif.get_ifd(0x8769)
        marks[0x9003] = f"2026:02:11 21:{i // 4:02}:{15 * (i % 4):02}"
        marks[0x829A], marks[0x829D], marks[0x8827] = 4.0 if short else 8.0, 2.8, 1600
        codes = np.rint(255 * linear_to_srgb(np.clip(light, 0, 1))).astype(np.uint8)
        Image.fromarray(codes).save(folder / f"{i:02}.jpg", quality=97, exif=exif)
    return survey(gather([folder])[0])


def colours_of_film(night: Survey, path: Path, *, colour: bool) -> tuple[Floats, Floats]:
    """Return R/G and B/G in stops (N, 2), and the green light in stops (N,), of the frames of the film made of `night`."""
    light = replace(night.project.light, sky_kept=0.0, colour=colour)
    project = replace(night.project, light=light, film=FilmSettings(quality=100))
    make_film(project, level(night, project), path, responses=responses_at(night))
    with av.open(path) as film:
        frames = [frame.to_ndarray(format="rgb24") for frame in film.decode(video=0)]
    # over the middle of the patches: a film has half the pixels of colour
    inner = [f.reshape(HEIGHT // 16, 16, WIDTH // 16, 16, 3)[:, 4:12, :, 4:12].reshape(-1, 3) for f in frames]
    stops = np.array([np.log2(srgb_to_linear(pixels / 255).mean(axis=0)) for pixels in inner])
    return stops[:, [0, 2]] - stops[:, [1]], stops[:, 1]


def test_the_colour_of_the_ground_is_steady_in_the_film_and_was_not(night: Survey, tmp_path: Path) -> None:
    before, _ = colours_of_film(night, tmp_path / "before.mp4", colour=False)
    after, green = colours_of_film(night, tmp_path / "after.mp4", colour=True)
    assert np.abs(np.diff(before, axis=0)).max() > 0.2
    assert np.abs(before - np.median(before, axis=0)).max() > 0.15
    assert np.abs(np.diff(after, axis=0)).max() < 0.05
    assert np.abs(after - np.median(after, axis=0)).max() < 0.05
    assert np.abs(np.diff(green)).max() < 0.05


def test_it_is_said_and_reported(night: Survey) -> None:
    (note,) = [note for note in night.notes if "white balance" in note]
    words = r"The white balance wandered by up to (0\.\d\d) stop\. 'Even the colour' in section Light takes it out\."
    told_most = re.fullmatch(words, note)
    assert told_most is not None
    most = np.ptp(balance(), axis=0).max()
    assert float(told_most[1]) == pytest.approx(most, abs=0.03)
    assert night.colour_ev is not None
    for colour in (False, True):
        project = replace(night.project, light=replace(night.project.light, colour=colour))
        told = [frame["colour_ev"] for frame in survey_report(night, project, level(night, project))["frames"]]
        assert told == ([None] * N if not colour else [pytest.approx(stops, abs=1e-4) for stops in night.colour_ev])


def test_frames_left_as_shot_keep_their_colour(night: Survey) -> None:
    project = replace(night.project, light=replace(night.project.light, even=False, colour=True))
    assert all(level(night, project).gains_of(i) == 0.0 for i in range(N))


@pytest.mark.parametrize("name", ["quiet arc", "drifting clouds", "dusk to night", "break-up, few pixels"])
def test_no_colour_of_the_sky_passes_for_the_cameras(name: str) -> None:
    night = shoot_night(FAMILIES[name], 2)
    measures = [measure_frame(codes, light_of(codes), srgb=True) for codes in night.codes]
    found = light_of_shot(Shot(0, len(measures) - 1), night.frames, measures)
    assert np.abs(found.colour_ev).max() < 0.005
    assert not any("white balance" in note for note in found.notes)
