"""A sky that pulsates everywhere at once is told from a camera that flickers, by its stars."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from lapsebench.core.candles import Bend, CandleLight
from lapsebench.core.response import Response, srgb_response
from lapsebench.core.transfer import linear_to_srgb
from lapsebench.errors import Cancelled
from lapsebench.io.cache import MeasureStore
from lapsebench.services.shotlight import light_of_shot
from lapsebench.services.starfiles import StarFiles
from lapsebench.services.survey import gather, survey

SIZE = 600, 400
COUNT = 60


@dataclass(frozen=True)
class Night:
    """A folder of stills and the exposure each truly received, stops."""

    folder: Path
    received_ev: np.ndarray


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Night:
    """Return 60 frames of a turning starry sky whose glow pulsates, over ground that it lights, with two setting changes."""
    folder = tmp_path_factory.mktemp("pulsating")
    random = np.random.default_rng(12)
    width, height = SIZE
    stars = random.uniform(-0.3, 1.3, (2, 700)) * [[width], [height]]
    light = 0.006 * random.pareto(1.3, 700).clip(0.3, 12)
    texture = cv2.GaussianBlur(random.uniform(0.5, 1.5, (height, width)), (0, 0), 2)
    y, x = np.mgrid[0:height, 0:width]
    shutter = [8.0] * 20 + [4.0] * 20 + [8.0] * 20
    received = np.log2(np.array(shutter) / 8) + random.normal(0, 0.06, COUNT)
    for i in range(COUNT):
        angle = 0.0009 * i
        turned_x = width / 2 + np.cos(angle) * (stars[0] - width / 2) - np.sin(angle) * (stars[1] + 300)
        turned_y = -300 + np.sin(angle) * (stars[0] - width / 2) + np.cos(angle) * (stars[1] + 300)
        glow = 0.012 * np.exp2(random.normal(0, 0.3))
        sky = np.full((height, width), glow)
        for sx, sy, flux in zip(turned_x, turned_y, light, strict=True):
            left, top = int(sx) - 4, int(sy) - 4
            if 0 <= left < width - 9 and 0 <= top < height - 9:
                part = np.s_[top : top + 9, left : left + 9]
                sky[part] += flux * np.exp(-((x[part] - sx) ** 2 + (y[part] - sy) ** 2) / 2)
        sky[300:] = glow * 0.4 * texture[300:]
        exposed = 2.0 ** received[i] * sky
        exposed += random.normal(0, 1, sky.shape) * np.sqrt(exposed / 60_000)
        codes = np.rint(255 * linear_to_srgb(np.clip(exposed, 0, 1))).astype(np.uint8)
        exif = Image.Exif()
        tags = exif.get_ifd(0x8769)
        tags[0x829A], tags[0x829D], tags[0x8827] = shutter[i], 2.8, 1600
        tags[0x9003] = f"2026:02:11 21:{i // 6:02}:{i % 6 * 10:02}"
        Image.fromarray(np.repeat(codes[..., None], 3, axis=2)).save(folder / f"P{i:03}.jpg", quality=95, exif=exif)
    return Night(folder, received)


def jitter(told: np.ndarray, truth: np.ndarray) -> float:
    """Return the rms error of the changes from frame to frame, stops."""
    return float(np.sqrt(np.mean(np.diff(told - truth) ** 2)))


def test_the_glow_keeps_pulsating_and_the_camera_does_not(night: Night) -> None:
    project, _ = gather([night.folder])
    done = survey(project)
    tiles_only = light_of_shot(done.project.shots[0], done.project.frames, done.measures).light
    by_tiles, by_stars = (jitter(light.received_ev, night.received_ev) for light in (tiles_only, done.light))
    print(f"jitter by tiles {by_tiles:.3f}, with the stars {by_stars:.4f} stop")
    assert by_tiles > 0.2
    assert by_stars < 0.025


def test_stars_are_asked_once_and_remembered(night: Night, monkeypatch: pytest.MonkeyPatch) -> None:
    project, _ = gather([night.folder])
    ticks: list[tuple[int, int]] = []
    first = survey(project, tick=lambda done, total: ticks.append((done, total)))
    assert max(total for _, total in ticks) > COUNT, "the stars' frames count as work"
    assert all(done <= total for done, total in ticks)

    def unread(_: StarFiles, number: int) -> None:
        raise AssertionError(f"frame {number} is read again")

    monkeypatch.setattr(StarFiles, "seen", unread)
    again = survey(project)
    np.testing.assert_array_equal(first.light.received_ev, again.light.received_ev)


def test_what_stars_told_of_a_curve_is_remembered_with_it(night: Night, tmp_path: Path) -> None:
    project, _ = gather([night.folder])
    numbers, responses = range(20, 32), (srgb_response(),) * 3
    random = np.random.default_rng(4)
    slope, covariance, exposure = (random.normal(0, 0.1, shape) for shape in (10, (10, 10), (12, 10)))
    bend = Bend(np.linspace(-6, -1, 10), slope, covariance, exposure, by_marks=True)
    told = CandleLight(random.normal(0, 1, 12), np.full(12, 0.01), np.full(12, 70), bend)
    store = MeasureStore(tmp_path)
    StarFiles(project.frames, store).keep(numbers, responses, told)
    known = StarFiles(project.frames, store).recalled(numbers, responses)
    assert known is not None
    assert known.bend is not None
    assert known.bend.by_marks
    np.testing.assert_array_equal(known.received_ev, told.received_ev)
    for name in ("at_ev", "slope", "covariance", "exposure_ev"):
        np.testing.assert_array_equal(getattr(known.bend, name), getattr(bend, name))


def test_asking_can_be_cancelled_and_leaves_no_thread(night: Night) -> None:
    project, _ = gather([night.folder])

    def stop(done: int, total: int) -> None:
        if done > COUNT + 5 and total > COUNT:
            raise Cancelled

    with pytest.raises(Cancelled):
        survey(project, tick=stop)
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("candles")]


def test_a_frame_that_vanishes_before_it_is_asked_does_no_harm(night: Night, monkeypatch: pytest.MonkeyPatch) -> None:
    project, _ = gather([night.folder])
    seen = StarFiles.seen

    def missing(self: StarFiles, number: int, responses: Sequence[Response]) -> object:
        if number in (10, 11):
            self._frames = list(self._frames)
            self._frames[number] = type(project.frames[0])(night.folder / "gone.jpg")
        return seen(self, number, responses)

    monkeypatch.setattr(StarFiles, "seen", missing)
    done = survey(project)
    assert np.isfinite(done.light.received_ev).all()
    assert jitter(done.light.received_ev[12:], night.received_ev[12:]) < 0.03
