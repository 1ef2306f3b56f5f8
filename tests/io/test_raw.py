"""RAW files: what their numbers mean, which way up they are, and damaged ones refused with a reason."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from dng import Sensor, read_mosaic, record, write_dng
from numpy.typing import NDArray

from lapsebench.core.mosaic import Mosaic
from lapsebench.errors import FrameError
from lapsebench.io.raw import read_raw

XTRANS = "GBGGRG" + "RGRBGB" + "GBGGRG" + "GRGGBG" + "BGBRGR" + "GRGGBG"
COLOURS = np.array(["R", "G", "B"])
SHARED = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "raw"
NOISY = Sensor(full_well=3000)


def night(
    height: int = 120, width: int = 180, level: float = 0.05, *, seed: int = 0, sensor: Sensor = NOISY
) -> NDArray[np.uint16]:
    """Return the codes of an even grey scene with noise."""
    return record(np.full((height, width, 3), level), sensor, random=np.random.default_rng(seed))


def upright(codes: NDArray[Any], orientation: int) -> NDArray[Any]:
    """Return the picture as Exif orientation means it (CIPA DC-008, table of Orientation)."""
    return {1: codes, 3: codes[::-1, ::-1], 6: np.rot90(codes, -1), 8: np.rot90(codes)}[orientation]


def tiled(tile: NDArray[Any], shape: tuple[int, ...]) -> NDArray[Any]:
    return np.tile(tile, (shape[0] // tile.shape[0] + 1, shape[1] // tile.shape[1] + 1))[: shape[0], : shape[1]]


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
@pytest.mark.parametrize("pattern", ["RGGB", "GRBG", "GBRG", "BGGR", XTRANS])
def test_every_photosite_keeps_its_code_colour_and_black(tmp_path: Path, pattern: str, orientation: int) -> None:
    sensor = Sensor(pattern=pattern, black=(500, 512, 520, 530), full_well=3000)
    codes = night(121, 183, sensor=sensor)
    mosaic = read_mosaic(write_dng(tmp_path / "a.dng", codes, sensor, orientation=orientation))
    np.testing.assert_array_equal(mosaic.codes, upright(codes, orientation))
    stored = tiled(np.array(list(pattern)).reshape(sensor.side, -1), codes.shape)
    colours = COLOURS[tiled(mosaic.pattern, mosaic.codes.shape).astype(int)]
    np.testing.assert_array_equal(colours, upright(stored, orientation))
    black = tiled(np.array(sensor.black, np.float32).reshape(2, 2), codes.shape)
    np.testing.assert_array_equal(tiled(mosaic.black, mosaic.codes.shape), upright(black, orientation))


def test_the_numbers_of_the_file_are_found(tmp_path: Path) -> None:
    sensor = Sensor(black=(512,), white=16000)
    mosaic = read_mosaic(write_dng(tmp_path / "a.dng", night(), sensor, neutral=(0.5, 1, 0.8), baseline_ev=0.5))
    assert mosaic.white == (16000, 16000, 16000)
    assert mosaic.black_of_colour == (512, 512, 512)
    assert mosaic.as_shot == pytest.approx((2, 1, 1.25))
    assert mosaic.daylight == pytest.approx((1 / sensor.neutral[0], 1, 1 / sensor.neutral[2]), rel=1e-3)
    assert mosaic.baseline_ev == 0.5
    np.testing.assert_allclose(mosaic.matrix, sensor.matrix)


def test_a_file_without_white_balance_says_so(tmp_path: Path) -> None:
    assert read_raw(write_dng(tmp_path / "a.dng", night(), neutral=())).as_shot is None


def test_a_preview_in_front_does_not_stand_in_for_the_mosaic(tmp_path: Path) -> None:
    preview = cv2.imencode(".jpg", np.full((60, 90, 3), 90, np.uint8))[1].tobytes()
    codes = night()
    np.testing.assert_array_equal(read_raw(write_dng(tmp_path / "a.dng", codes, preview=preview)).codes, codes)


@pytest.mark.parametrize("pattern", ["RGGB", XTRANS])
def test_the_masked_border_is_left_out(tmp_path: Path, pattern: str) -> None:
    sensor, codes = Sensor(pattern=pattern, black=tuple(range(500, 536))), night()
    inner = (12, 18, 110, 170)
    mosaic = read_mosaic(write_dng(tmp_path / "a.dng", codes, sensor, active_area=inner))
    np.testing.assert_array_equal(mosaic.codes, codes[12:110, 18:170])
    assert "".join(COLOURS[mosaic.pattern.ravel().astype(int)]) == pattern
    np.testing.assert_array_equal(mosaic.black, np.arange(500, 536).reshape(6, 6))


def test_black_follows_an_active_area_that_starts_at_an_odd_row(tmp_path: Path) -> None:
    sensor = Sensor(pattern=XTRANS, black=(500, 512, 520, 530))
    mosaic = read_mosaic(write_dng(tmp_path / "a.dng", night(), sensor, active_area=(13, 11, 110, 170)))
    assert "".join(COLOURS[mosaic.pattern.ravel().astype(int)]) == XTRANS
    assert mosaic.black[0, 0] == 500


def test_codes_go_through_the_linearization_table(tmp_path: Path) -> None:
    table = (np.arange(4096) ** 2 / 4095**2 * 15000).astype(np.uint16)
    stored = np.random.default_rng(0).normal(2000, 20, (100, 120)).astype(np.uint16)
    mosaic = read_mosaic(write_dng(tmp_path / "a.dng", stored, Sensor(white=15000, black=(0,)), linearization=table))
    np.testing.assert_array_equal(mosaic.codes, table[stored])


def test_a_sensor_that_saturates_below_full_scale_is_noticed(tmp_path: Path) -> None:
    codes = np.minimum(night(300, 300, 0.2), 16383)
    codes[100:120, 100:120] = np.random.default_rng(0).integers(15000, 15040, (20, 20))
    clip = read_raw(write_dng(tmp_path / "a.dng", codes)).clip
    assert all(14800 < code <= 15000 for code in clip)


def test_a_bright_wall_is_not_taken_for_saturation(tmp_path: Path) -> None:
    sensor = Sensor()
    codes = night(300, 300, 0.2, sensor=sensor)
    codes[100:200, 100:200] = night(100, 100, 0.9, sensor=sensor)
    assert read_raw(write_dng(tmp_path / "a.dng", codes, sensor)).clip == (16383, 16383, 16383)


@pytest.mark.parametrize("black", [0, 512])
@pytest.mark.parametrize("full_well", [30, 3000, 30000])
@pytest.mark.parametrize("level", [0.0, 0.001, 0.05, 5.0], ids=["lens cap", "dark night", "grey", "blown"])
def test_dark_blown_and_noisy_frames_are_sound(tmp_path: Path, level: float, full_well: float, black: int) -> None:
    sensor = Sensor(full_well=full_well, black=(black,))
    codes = night(200, 300, level, sensor=sensor)
    np.testing.assert_array_equal(read_raw(write_dng(tmp_path / "a.dng", codes, sensor)).codes, codes)


def refusal(path: Path) -> str:
    with pytest.raises(FrameError) as caught:
        read_raw(path)
    assert caught.value.remedy
    assert path.name in caught.value.what
    return caught.value.what


def test_a_file_cut_short_is_refused(tmp_path: Path) -> None:
    path = write_dng(tmp_path / "a.dng", night())
    whole = path.read_bytes()
    for share in (0.0, 0.001, 0.01, 0.3, 0.9, 0.999):
        path.write_bytes(whole[: int(share * len(whole))])
        assert refusal(path)


@pytest.mark.parametrize(("fill", "said"), [(0, "30 %"), (900, "30 %")])
def test_missing_rows_are_refused(tmp_path: Path, fill: int, said: str) -> None:
    codes = night(200, 180)
    codes[140:] = fill
    assert said in refusal(write_dng(tmp_path / "a.dng", codes))


def test_what_damaged_data_decode_to_is_refused(tmp_path: Path) -> None:
    random = np.random.default_rng(0)
    assert "noise" in refusal(write_dng(tmp_path / "a.dng", random.integers(0, 16384, (200, 300)).astype(np.uint16)))
    assert "are 0" in refusal(write_dng(tmp_path / "b.dng", np.zeros((200, 300), np.uint16)))
    sparse = night(200, 300)
    sparse[random.random(sparse.shape) < 0.9] = 0
    assert "90 %" in refusal(write_dng(tmp_path / "c.dng", sparse))


def test_a_header_that_claims_a_huge_picture_takes_no_memory(tmp_path: Path) -> None:
    path = write_dng(tmp_path / "a.dng", night())
    data = path.read_bytes()
    for tag, old in ((256, 180), (257, 120)):
        entry = tag.to_bytes(2, "little") + (4).to_bytes(2, "little") + (1).to_bytes(4, "little")
        assert entry + old.to_bytes(4, "little") in data
        data = data.replace(entry + old.to_bytes(4, "little"), entry + (100_000).to_bytes(4, "little"))
    path.write_bytes(data)
    started = time.perf_counter()
    assert refusal(path)
    assert time.perf_counter() - started < 1


def test_no_file_and_no_raw_file_are_said(tmp_path: Path) -> None:
    assert "not there" in refusal(tmp_path / "missing.dng")
    (tmp_path / "text.nef").write_text("not a picture at all" * 100)
    assert refusal(tmp_path / "text.nef")


@pytest.mark.parametrize("path", sorted(SHARED.glob("bad/*")), ids=lambda path: path.name)
def test_real_damaged_files_are_refused(path: Path) -> None:
    started = time.perf_counter()
    print(refusal(path))
    assert time.perf_counter() - started < 10


@pytest.mark.parametrize("path", sorted(SHARED.glob("good/*")), ids=lambda path: path.name)
def test_real_files_are_decoded(path: Path) -> None:
    mosaic: Mosaic = read_mosaic(path)
    assert mosaic.codes.size > 300_000
    left, right = mosaic.codes[::2, :-2:2].ravel(), mosaic.codes[::2, 2::2].ravel()
    assert np.corrcoef(left, right)[0, 1] > 0.8  # a picture, not noise


def test_a_mosaic_that_lacks_a_colour_is_refused(tmp_path: Path) -> None:
    """Damage, as LibRaw reads it now and then, left no blue cells; it ended in a traceback."""
    sensor = Sensor(pattern="RGRG", full_well=3000)
    with pytest.raises(FrameError, match="lacks a colour"):
        read_raw(write_dng(tmp_path / "a.dng", night(sensor=sensor), sensor))
