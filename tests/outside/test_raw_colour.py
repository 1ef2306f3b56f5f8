"""RAW colour and levels against colour-science, the DNG specification and EMVA 1288.

Chart: reflectances and illuminants of colour-science (BabelColor Average of the 24-patch chart; CIE 015 standard observer).
DNG specification 1.4: chapters "Mapping Raw Values to Linear Reference Values" and 6 (ColorMatrix1 is XYZ to camera, a
neutral is the camera's white). EMVA Standard 1288, release 4.0: photon transfer.
"""

from __future__ import annotations

import warnings
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from dng import Sensor, read_mosaic, record, write_dng
from numpy.typing import NDArray

from lapsebench.core.balance import Matrix, camera_to_rgb, light_of, light_xy, rgb_to_xyz, temperature_multipliers
from lapsebench.core.mosaic import Mosaic, development
from lapsebench.imaging.develop import full_size, half_size

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it warns of parts of its own that need other packages
    import colour

MATRICES: list[Matrix] = [
    Sensor().matrix,
    ((0.65, -0.12, -0.07), (-0.55, 1.36, 0.21), (-0.10, 0.18, 0.70)),
    ((0.90, -0.30, -0.12), (-0.40, 1.20, 0.22), (-0.04, 0.12, 0.55)),
]


def chart() -> NDArray[np.float64]:
    """Return XYZ of the 24 patches under D65, (24, 3), a perfect reflector having Y = 1."""
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    light = colour.SDS_ILLUMINANTS["D65"]
    patches = colour.SDS_COLOURCHECKERS["BabelColor Average"].values()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of spectra brought to one spacing
        return np.array([colour.sd_to_XYZ(patch, observer, light) for patch in patches]) / 100


def laid_out(patches: NDArray[Any], side: int = 24) -> NDArray[Any]:
    """Return 24 colours as a picture of 4 x 6 even patches."""
    return np.repeat(np.repeat(patches.reshape(4, 6, 3), side, axis=0), side, axis=1)


def developed(path: Path, camera: NDArray[Any], sensor: Sensor, way: str) -> NDArray[np.float64]:
    """Return the patches' mean linear BT.709 once `camera` (24, 3), green of white = 1, went through a DNG."""
    codes = np.rint(sensor.black[0] + laid_out(camera) * (sensor.white - sensor.black[0]))
    tile = np.array([["RGB".index(c) for c in sensor.pattern]]).reshape(2, 2)
    places = np.tile(tile, (codes.shape[0] // 2, codes.shape[1] // 2))
    mosaic = read_mosaic(write_dng(path, np.take_along_axis(codes, places[..., None], 2)[..., 0].astype(np.uint16), sensor))
    assert mosaic.as_shot is not None
    shot = development(mosaic, mosaic.as_shot)
    light = (
        half_size(mosaic, shot)[0]
        if way == "half"
        else full_size(mosaic, shot, demosaic="fine" if way == "fine" else "fast")
    )
    side = light.shape[0] // 4
    inner = light.reshape(4, side, 6, side, 3)[:, side // 4 : -side // 4, :, side // 4 : -side // 4]
    return np.asarray(inner.mean(axis=(1, 3), dtype=float).reshape(24, 3))


@pytest.mark.parametrize("matrix", MATRICES)
@pytest.mark.parametrize("way", ["half", "fast", "fine"])
def test_chart(tmp_path: Path, matrix: Matrix, way: str) -> None:
    sensor = Sensor(matrix=matrix)
    xyz = chart()
    white = colour.xy_to_XYZ(colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"])
    camera = xyz @ np.array(matrix).T / (np.array(matrix) @ white)[1]
    ours = developed(tmp_path / "chart.dng", camera, sensor, way)
    theirs = xyz @ np.asarray(colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB).T
    worst = np.abs(ours - theirs).max(axis=1) / theirs.max(axis=1)
    print(f"{way}: worst patch {100 * worst.max():.2f} %")
    assert worst.max() < 0.01


def level_shot(path: Path, codes: float, *, random: np.random.Generator | None = None) -> Mosaic:
    """Return a frame all of which has one code, but for one row of others."""
    picture = np.full((64, 64), codes)
    if random is not None:
        picture = random.normal(picture, 3)
    picture[-2:] = 3000 + np.arange(64)  # a sensor's last rows are never all alike
    return read_mosaic(write_dng(path, np.rint(picture).astype(np.uint16), Sensor(black=(512,), white=16383)))


@pytest.mark.parametrize(("stored", "expected"), [(512, 0.0), (16383, 1.0), (8447, 0.5), (8448, 0.5)])
def test_black_and_white_level(tmp_path: Path, stored: float, expected: float) -> None:
    mosaic = level_shot(tmp_path / "a.dng", stored)
    plain = replace(development(mosaic, (1.0, 1.0, 1.0)), matrix=((1.0, 0, 0), (0, 1.0, 0), (0, 0, 1.0)))
    for light in (half_size(mosaic, plain)[0], full_size(mosaic, plain), full_size(mosaic, plain, demosaic="fine")):
        np.testing.assert_allclose(light[8:20, 8:20], expected, atol=0.65 / 15871)


def test_color_matrix_leads_from_xyz_to_the_camera(tmp_path: Path) -> None:
    sensor = Sensor()
    mosaic = read_mosaic(write_dng(tmp_path / "a.dng", record(np.full((40, 40, 3), 0.2) + np.arange(3) * 0.01, sensor)))
    white = np.array(sensor.matrix) @ colour.xy_to_XYZ((0.3127, 0.3290))
    assert mosaic.as_shot == pytest.approx(tuple(white[1] / white), rel=1e-4)
    assert mosaic.daylight == pytest.approx(tuple(white[1] / white), rel=1e-3)  # LibRaw's own reading of the matrix


@pytest.mark.parametrize("neutral", [(0.5, 1, 0.8), (0.35, 1.0, 0.6), (1.0, 0.9, 0.4)])
def test_multipliers_are_one_over_the_neutral(tmp_path: Path, neutral: tuple[float, ...]) -> None:
    light = np.random.default_rng(0).uniform(0.1, 0.3, (40, 40, 3))
    mosaic = read_mosaic(write_dng(tmp_path / "a.dng", record(light, Sensor()), neutral=neutral))
    assert mosaic.as_shot == pytest.approx(tuple(neutral[1] / np.array(neutral)), rel=1e-4)


def test_photon_transfer(tmp_path: Path) -> None:
    """Variance over mean is the gain, and a gain g multiplies mean by g and variance by g squared."""
    sensor = Sensor(full_well=15871 / 0.5, read_noise=3)  # 0.5 code an electron
    means, variances = [], []
    for seed, level in enumerate((0.02, 0.1, 0.3, 0.6)):
        codes = record(np.full((400, 400, 3), level), sensor, random=np.random.default_rng(seed))
        mosaic = read_mosaic(write_dng(tmp_path / "a.dng", codes, sensor))
        shot = replace(development(mosaic, (1.0, 1.0, 1.0)), matrix=((1.0, 0, 0), (0, 1.0, 0), (0, 0, 1.0)))
        red = half_size(mosaic, shot)[0][..., 0].astype(float)  # one photosite each: no averaging
        raised = half_size(mosaic, replace(shot, scale=shot.scale / 4))[0][..., 0].astype(float)
        assert raised.mean() == pytest.approx(4 * red.mean(), rel=1e-5)
        assert raised.var() == pytest.approx(16 * red.var(), rel=1e-5)
        means.append(red.mean() * shot.scale)
        variances.append(red.var() * shot.scale**2)
    slope, dark = np.polyfit(means, variances, 1)
    assert slope == pytest.approx(0.5, rel=0.03)
    assert dark == pytest.approx(0.25 * 9 + 1 / 12, abs=30)


@pytest.mark.parametrize(("primaries", "name"), [("BT.709", "ITU-R BT.709"), ("BT.2020", "ITU-R BT.2020")])
def test_primaries(primaries: str, name: str) -> None:
    space = colour.RGB_COLOURSPACES[name]
    theirs = colour.normalised_primary_matrix(space.primaries, np.array([0.3127, 0.3290]))
    np.testing.assert_allclose(rgb_to_xyz(primaries), theirs, rtol=1e-9)
    for matrix in MATRICES:
        white = np.array(matrix) @ colour.xy_to_XYZ((0.3127, 0.3290))
        np.testing.assert_allclose(
            camera_to_rgb(matrix, primaries), np.linalg.inv(theirs) @ np.linalg.inv(matrix) * white, atol=1e-9
        )


@pytest.mark.parametrize("kelvin", [1500, 2000, 2856, 4000, 5000, 6504, 12000])
@pytest.mark.parametrize("tint", [-10, 0, 10])
def test_temperature_and_tint(kelvin: float, tint: float) -> None:
    theirs = colour.temperature.CCT_to_uv_Ohno2013([kelvin, tint / 1000])
    x, y = light_xy(kelvin, tint)
    ours = colour.xy_to_UCS_uv((x, y))
    np.testing.assert_allclose(ours, theirs, atol=4e-4)
    back, duv = colour.temperature.uv_to_CCT_Ohno2013(ours)
    shown, shown_tint = light_of((x, y))
    assert shown == pytest.approx(back, rel=0.01)
    assert shown_tint == pytest.approx(1000 * duv, abs=0.3)


def test_neutral_of_a_light_is_what_the_camera_sees() -> None:
    for matrix in MATRICES:
        seen = np.array(matrix) @ colour.xy_to_XYZ(light_xy(3200, 4))
        np.testing.assert_allclose(temperature_multipliers(3200, 4, matrix), seen[1] / seen, rtol=1e-9)
