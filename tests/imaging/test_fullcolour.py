"""RAW without a mosaic: linear DNG of phones and converters, and sensors without colours, as light in the same measure."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import cv2
import numpy as np
import pytest
from dng import Sensor, write_dng
from numpy.typing import NDArray

from lapsebench.core.balance import rgb_to_xyz, white_multipliers
from lapsebench.core.mosaic import FullColour, development
from lapsebench.core.sequence import Frame
from lapsebench.errors import FrameError
from lapsebench.imaging.develop import full_size, half_size
from lapsebench.io.metadata import read_metadata
from lapsebench.io.raw import read_raw
from lapsebench.services import preview
from lapsebench.services.survey import gather, survey

SENSOR, START = Sensor(), datetime(2026, 2, 11, 21, 4)
DAYLIGHT = white_multipliers(SENSOR.matrix, (0.3127, 0.3290))


def scene(height: int = 90, width: int = 131) -> NDArray[np.float64]:
    """Return smooth light (h, w, 3), linear BT.709, below white."""
    random = np.random.default_rng(5)
    coarse = random.uniform(0.01, 0.6, (6, 8, 3))
    return np.asarray(cv2.resize(coarse, (width, height), interpolation=cv2.INTER_LINEAR), float)


def codes_of(light: NDArray[np.float64], gain: float = 1.0) -> NDArray[np.uint16]:
    """Return what a sensor with all colours in each pixel makes of light; camera colours exact but for rounding."""
    to_camera = np.array(SENSOR.matrix) @ rgb_to_xyz("BT.709")
    to_camera *= gain / to_camera[1].sum()
    codes = SENSOR.black[0] + (light @ to_camera.T) * (SENSOR.white - SENSOR.black[0])
    return np.clip(np.rint(codes), 0, SENSOR.white).astype(np.uint16)


def read(path: Path) -> FullColour:
    raw = read_raw(path)
    assert isinstance(raw, FullColour)
    return raw


def test_a_linear_dng_gives_its_light_back(tmp_path: Path) -> None:
    light = scene()
    raw = read(write_dng(tmp_path / "a.dng", codes_of(light), SENSOR))
    shot = development(raw, DAYLIGHT)
    np.testing.assert_allclose(full_size(raw, shot), light, atol=3e-4)
    half, clipped = half_size(raw, shot)
    means = light[:90, :130].reshape(45, 2, 65, 2, 3).mean(axis=(1, 3))
    np.testing.assert_allclose(half, means, atol=2e-4)
    assert not clipped.any()


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_it_stands_upright(tmp_path: Path, orientation: int) -> None:
    codes = codes_of(scene())
    raw = read(write_dng(tmp_path / "a.dng", codes, SENSOR, orientation=orientation))
    turns = {1: 0, 3: 2, 6: -1, 8: 1}[orientation]
    np.testing.assert_array_equal(raw.codes, np.rot90(codes, turns))


def test_a_sensor_without_colours_is_neutral_and_proportional(tmp_path: Path) -> None:
    light = scene()[..., 1]
    codes = np.rint(512 + light * (SENSOR.white - 512)).astype(np.uint16)
    raw = read(write_dng(tmp_path / "a.dng", codes, SENSOR, colours=False))
    developed = full_size(raw, development(raw, (1.0, 1.0, 1.0)))
    np.testing.assert_allclose(developed, np.repeat(light[..., None], 3, axis=2), atol=1e-4)


def test_bright_aurora_keeps_its_hue_where_green_is_full(tmp_path: Path) -> None:
    """A green arc two stops over: its core, where camera green clips, must stay green and at least as bright as its rim."""
    x = np.linspace(-1, 1, 160)
    arc = np.exp(-((x / 0.3) ** 2))[None, :, None] * np.ones((80, 1, 1))
    light = 0.02 + arc * np.array([0.25, 1.0, 0.3])
    raw = read(write_dng(tmp_path / "a.dng", codes_of(light, gain=2.0), SENSOR))
    developed = full_size(raw, development(raw, DAYLIGHT))
    core = developed[40, 76:84].mean(axis=0)
    assert core[1] > 1.5 * max(core[0], core[2])
    profile = developed[40, :81, 1]
    assert (np.diff(profile) > -0.02).all()
    _, clipped = half_size(raw, development(raw, DAYLIGHT))
    assert clipped[20, 38:42, 1].all()


def test_a_file_cut_short_is_refused(tmp_path: Path) -> None:
    path = write_dng(tmp_path / "a.dng", codes_of(scene()), SENSOR)
    whole = path.read_bytes()
    for share in (0.3, 0.9, 0.999):
        path.write_bytes(whole[: int(share * len(whole))])
        with pytest.raises(FrameError):
            read_raw(path)


@pytest.mark.parametrize("kind", ["linear", "grey"])
def test_a_night_of_them_is_surveyed_and_seen(tmp_path: Path, kind: str) -> None:
    random = np.random.default_rng(2)
    for i, (seconds, gain) in enumerate([(8.0, 1.0)] * 5 + [(2.0, 0.25)] * 5):
        codes = codes_of(scene(120, 180), gain) + random.integers(0, 8, (120, 180, 3)).astype(np.uint16)
        stored = codes if kind == "linear" else codes[..., 1]
        taken = START + timedelta(seconds=12 * i)
        write_dng(tmp_path / f"N{i}.dng", stored, SENSOR, exposure_s=seconds, taken=taken, colours=kind == "linear")
    project, _ = gather([tmp_path])
    assert {(frame.width, frame.height) for frame in project.frames} == {(180, 120)}
    found = survey(project)
    assert not any(frame.faults for frame in found.project.frames)
    received = found.light.received_ev
    assert received[4] - received[5] == pytest.approx(2.0, abs=0.01)
    frame: Frame = found.project.frames[2]
    assert preview.picture(frame, 0.0).shape == (120, 180, 3)
    assert read_metadata(frame.path).exposure_s == 8.0
