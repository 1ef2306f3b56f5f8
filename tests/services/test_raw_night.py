"""A night shot in RAW: from the files to the film, in light that is proportional to exposure."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import av
import cv2
import numpy as np
import pytest
from dng import Sensor, record, write_dng

from lapsebench.core.filmlight import LightSettings
from lapsebench.core.filmsettings import FilmSettings
from lapsebench.core.metering import FrameMeasure
from lapsebench.core.project import Project
from lapsebench.core.rolloff import KNEE, shoulder_rgb
from lapsebench.core.sequence import Fault
from lapsebench.core.transfer import srgb_to_linear
from lapsebench.services import preview
from lapsebench.services.film import make_film
from lapsebench.services.report import survey_report
from lapsebench.services.stills import Care, Developed, read_still
from lapsebench.services.survey import Survey, gather, level, responses_at, survey

COUNT, HEIGHT, WIDTH = 16, 160, 240
START = datetime(2026, 2, 11, 21, 4, 5)
SHOTS_S = (8.0,) * 5 + (2.0,) * 6 + (8.0,) * 5
"""Shutter times: two stops down and up again."""
HOT_SITES = np.ravel_multi_index(tuple(np.random.default_rng(7).integers(12, (90, 228), (40, 2)).T), (HEIGHT, WIDTH))


def scene(i: int) -> np.ndarray:
    """Return the linear light of a green arc that drifts over a textured ground, (h, w, 3)."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    arc = 0.2 * np.exp(-(((y - 60 - 8 * np.sin(x / 40 + i / 9)) / 14) ** 2))
    ground = (y > 110) * 0.02 * (1.5 + np.sin(x / 3) * np.cos(y / 2))
    return np.asarray(arc[..., None] * (0.3, 1.0, 0.4) + 0.01 + ground[..., None] * (1.0, 0.9, 0.7))


def write_night(folder: Path, *, preview_jpeg: bytes = b"", hot: int = 0) -> None:
    """Write a night whose automatic white balance wandered in the tags, as cameras do; `hot` photosites glow."""
    random = np.random.default_rng(3)
    sensor = Sensor(full_well=60000)
    for i, seconds in enumerate(SHOTS_S):
        red, _, blue = sensor.neutral
        codes = record(scene(i), sensor, gain=seconds / 8, random=random)
        codes.reshape(-1)[HOT_SITES[:hot]] = 12000
        neutral = (red * (1 + 0.1 * (i % 3)), 1.0, blue)
        taken = START + timedelta(seconds=12 * i)
        write_dng(
            folder / f"N{i:04}.dng", codes, sensor, exposure_s=seconds, taken=taken, neutral=neutral, preview=preview_jpeg
        )


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Survey:
    folder = tmp_path_factory.mktemp("raw")
    write_night(folder)
    return survey(gather([folder])[0])


def test_the_exposure_is_told_within_a_hundredth_of_a_stop(night: Survey) -> None:
    received = night.light.received_ev - np.log2(SHOTS_S)
    assert not any(frame.faults for frame in night.project.frames)
    assert np.ptp(received) < 0.01


def test_light_needs_no_camera_curve(night: Survey) -> None:
    assert not night.project.curves
    assert survey_report(night, night.project, level(night, night.project))["response"]["curve"] == "linear"
    assert not any(response.estimated for responses in night.responses for response in responses)


def test_one_white_balance_is_used_all_through_the_shot(night: Survey) -> None:
    """AsShotNeutral differs from frame to frame (DNG 1.4: multiplier = 1 / neutral); colours must not."""
    (balance,) = {frame.balance for frame in night.project.frames}
    assert balance is not None
    assert balance == pytest.approx([1 / value for value in Sensor().neutral], rel=1e-3)
    means = np.array([measure.tiles.mean(axis=(0, 1)) for measure in night.measures if measure is not None])
    colour = means / means[:, 1:2]
    assert np.ptp(colour, axis=0) == pytest.approx([0, 0, 0], abs=0.01)


def test_a_frame_two_stops_under_comes_out_equal_to_its_neighbour_in_the_film(night: Survey, tmp_path: Path) -> None:
    project = Project(
        night.project.sources,
        night.project.frames,
        night.project.shots,
        light=LightSettings(sky_kept=1.0, brightness_ev=0.0),
    )
    done = make_film(project, level(night, project), tmp_path / "film.mp4", responses=responses_at(night))
    with av.open(str(done.path)) as film:
        shown = [frame.to_ndarray(format="rgb24").astype(float) for frame in film.decode(video=0)]
    assert len(shown) == COUNT
    light = np.array([np.log2(srgb_to_linear(picture / 255).mean()) for picture in shown])
    assert np.abs(np.diff(light)).max() < 0.03
    bright, dark = (srgb_to_linear(cv2.blur(shown[i], (9, 9))[20:100] / 255) for i in (4, 5))
    assert np.abs(np.log2((bright + 0.002) / (dark + 0.002))).mean() < 0.06


def test_the_screen_shows_what_the_film_does(night: Survey) -> None:
    frame = night.project.frames[0]
    small = preview.picture(frame, 0.5, long_side=WIDTH // 2)
    whole = preview.picture(frame, 0.5)
    assert whole.shape == (HEIGHT, WIDTH, 3)
    assert small.shape == (HEIGHT // 2, WIDTH // 2, 3)
    assert abs(small.mean() - whole.mean()) < 1


def test_embedded_pictures_give_a_first_look_before_anything_is_measured(tmp_path: Path) -> None:
    codes = np.full((120, 180, 3), (20, 90, 40), np.uint8)
    write_night(tmp_path, preview_jpeg=cv2.imencode(".jpg", codes)[1].tobytes())
    seen: list[tuple[int, FrameMeasure]] = []
    result = survey(gather([tmp_path])[0], measured=lambda i, measure: seen.append((i, measure)))
    assert [i for i, _ in seen[:COUNT]] == list(range(COUNT))
    assert sorted(i for i, _ in seen[COUNT:]) == list(range(COUNT))
    assert seen[0][1].column.mean(axis=0) == pytest.approx([40, 90, 20], abs=4)  # cv2 wrote B, G, R
    assert result.measures[0] is not None
    assert np.abs(result.measures[0].tiles - seen[0][1].tiles).max() > 0.01


def test_a_raw_file_that_is_damaged_is_flagged_with_the_reason(tmp_path: Path) -> None:
    write_night(tmp_path)
    broken = tmp_path / "N0007.dng"
    broken.write_bytes(broken.read_bytes()[:20000])
    frames = survey(gather([tmp_path])[0]).project.frames
    assert Fault.UNREADABLE in frames[7].faults
    assert "cut short" in frames[7].problem or "ends early" in frames[7].problem
    assert not any(Fault.UNREADABLE in frame.faults for i, frame in enumerate(frames) if i != 7)


def test_headroom_rolls_off_and_white_stays_white() -> None:
    ramp = np.linspace(0, 3, 3001, dtype=np.float32)
    green = shoulder_rgb(ramp[:, None] * np.array([0.3, 1.0, 0.4], np.float32), -1.0)
    assert np.diff(green[:, 1]).min() > -1e-6
    exact = ramp / 2 < KNEE
    assert green[exact, 1] == pytest.approx(ramp[exact] / 2, abs=1e-6)
    assert green[1:, 0] / green[1:, 1] == pytest.approx(np.full(3000, 0.3), abs=1e-4)
    white = shoulder_rgb(np.array([[1.0, 1.0, 1.0], [2.0, 1.1, 1.5]], np.float32), -2.0)
    assert white == pytest.approx(np.ones((2, 3)))


def test_hot_pixels_are_taken_out_of_the_film_where_it_is_asked_for(tmp_path: Path) -> None:
    write_night(tmp_path, hot=40)
    night = survey(gather([tmp_path])[0])
    specks = []
    for mend_hot in (False, True):
        project = replace(night.project, film=FilmSettings(quality=100, mend_hot=mend_hot, fine=True))
        done = make_film(project, level(night, project), tmp_path / f"{mend_hot}.mp4", responses=responses_at(night))
        with av.open(str(done.path)) as film:
            codes = next(film.decode(video=0)).to_ndarray(format="rgb24")
        specks.append(int((codes.astype(int) - cv2.medianBlur(codes, 5) > 60).any(axis=2).sum()))
    assert specks[0] > 40
    assert specks[1] == 0


def test_fine_detail_shows_in_the_film(tmp_path: Path) -> None:
    """Against the scene itself: stripes as fine as the mosaic come out better."""
    random = np.random.default_rng(5)
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    stripes = 0.25 + 0.15 * np.sin((x + 0.6 * y) * 1.9)
    light = np.repeat(stripes[..., None], 3, axis=2)
    for i in range(4):
        codes = record(light, Sensor(), random=random)
        write_dng(tmp_path / f"F{i}.dng", codes, taken=START + timedelta(seconds=12 * i))
    frame = gather([tmp_path])[0].frames[0]
    errors = []
    for fine in (False, True):
        still = read_still(frame, care=Care(fine=fine))
        assert isinstance(still, Developed)
        errors.append(float(np.std((still.light - light)[8:-8, 8:-8])))
    assert errors[1] < 0.9 * errors[0]
