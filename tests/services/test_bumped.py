"""A bumped frame is flagged, left out, and does not bend the light; the demo night and real aurora hold none."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image
from scipy.ndimage import gaussian_filter

from lapsebench.core.bumps import suspects
from lapsebench.core.metering import FrameMeasure
from lapsebench.core.project import Project
from lapsebench.core.sequence import Fault, Frame, Shot
from lapsebench.core.transfer import linear_to_srgb, srgb_table
from lapsebench.imaging.proxy import measure_frame
from lapsebench.services.bumped import bumped_frames
from lapsebench.services.shotlight import at_moves, light_of_shot
from lapsebench.services.survey import Survey
from lapsebench.services.tilelight import tiles_of

N, HEIGHT, WIDTH = 30, 320, 480
BUMPS = {6: (0.004, 0.0), 7: (0.004, 0.0), 13: (0.0, -0.006), 19: (-0.003, 0.003), 20: (-0.02, 0.03), 21: (0.0, 0.1)}


def night(bumps: dict[int, tuple[float, float]]) -> list[FrameMeasure]:
    """Return measures of an arc that wanders over ground; `bumps`: right and down, shares of the width."""
    random = np.random.default_rng(8)
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    noise = random.normal(0, 1, (HEIGHT, WIDTH))
    ground = 0.05 * np.exp2(2 * gaussian_filter(noise, 1.5) + 15 * gaussian_filter(noise, 10))
    measures = []
    for i in range(N):
        arc = 0.2 * np.exp(-(((y - 90 - 20 * np.sin(x / 70 + i / 4)) / 25) ** 2))
        light = np.where(y < 200, 0.01 + arc, ground)[..., None] * (0.6, 1.0, 0.7) * 2.0 ** random.normal(0, 0.05)
        codes = np.rint(255 * linear_to_srgb(np.clip(light * random.normal(1, 0.03, light.shape), 0, 1))).astype(np.uint8)
        right, down = bumps.get(i, (0.0, 0.0))
        by = np.array([[1, 0, right * WIDTH], [0, 1, down * WIDTH]])
        moved = cv2.warpAffine(codes, by, (WIDTH, HEIGHT), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)
        measures.append(measure_frame(np.asarray(moved, np.uint8), srgb_table(256)[moved], srgb=True))
    return measures


def frames() -> list[Frame]:
    """Return frames all of one setting."""
    return [Frame(Path(f"{i}.jpg"), exposure_s=8.0, f_number=2.8, iso=1600) for i in range(N)]


def test_bumps_are_flagged_and_neither_cut_the_shot_nor_bend_the_light() -> None:
    shot, measures = Shot(0, N - 1), night(BUMPS)
    assert at_moves(shot, frames(), measures) == (shot,)
    found = light_of_shot(shot, frames(), measures)
    assert {i for i, faults in found.faults.items() if Fault.BUMPED in faults} == set(BUMPS)
    still = light_of_shot(shot, frames(), night({}))
    assert not still.faults
    good = np.delete(np.arange(N), list(BUMPS))
    off = (found.light.received_ev - still.light.received_ev)[good]
    assert np.abs(off - off.mean()).max() < 0.01


def test_a_bumped_frame_is_left_out_of_the_film_unless_taken_in() -> None:
    project = Project(frames=(replace(frames()[0], faults=frozenset({Fault.BUMPED})),), shots=(Shot(0, 0),))
    assert not project.keeps(0)
    assert replace(project, taken_in=frozenset({0})).keeps(0)


def test_without_small_pictures_nothing_is_called_bumped() -> None:
    shot = Shot(0, N - 1)
    for proxy in (b"", b"no picture"):
        measures = [replace(measure, proxy=proxy) for measure in night(BUMPS)]
        tiles = tiles_of(shot, measures)
        assert not bumped_frames(shot, measures, tiles.readable, suspects(tiles.light, tiles.readable)).any()


def test_the_demo_night_holds_no_bump(demo_survey: Survey) -> None:
    assert not any(Fault.BUMPED in frame.faults for frame in demo_survey.project.frames)


@pytest.mark.parametrize("folder", ["aurora_smile", "aurora_themis_gill"])
def test_real_aurora_without_ground_holds_no_bump(shared_data: Path, folder: str) -> None:
    measures: list[FrameMeasure] = []
    for path in sorted((shared_data / folder).glob("*.png")):
        codes = np.asarray(Image.open(path).convert("RGB"))
        measures.append(measure_frame(codes, srgb_table(256)[codes], srgb=True))
    shot = Shot(0, len(measures) - 1)
    tiles = tiles_of(shot, measures)
    assert not bumped_frames(shot, measures, tiles.readable, suspects(tiles.light, tiles.readable)).any()
