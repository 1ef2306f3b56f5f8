"""Look-up tables against the independent library colour-science and against ffmpeg's filter lut3d.

ffmpeg is fed planes of floats: its own sources are made in YUV and would differ by that.
"""

from __future__ import annotations

import subprocess
from pathlib import Path

import colour
import imageio_ffmpeg
import numpy as np
import pytest
from numpy.typing import NDArray

from lapsebench.core.lut import Lut3D
from lapsebench.io.cubefile import read_cube

NEAR = 1e-5


def gamma(size: int = 9) -> NDArray[np.float64]:
    """Return the table of x to the power 1 / 2.2, indexed by R, G, B."""
    axis = np.linspace(0, 1, size) ** (1 / 2.2)
    return np.asarray(np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1), dtype=float)


def crooked(size: int = 7) -> NDArray[np.float64]:
    """Return a table that is not the same in any two channels, so that mixed-up axes are seen."""
    red, green, blue = np.meshgrid(*[np.linspace(0, 1, size)] * 3, indexing="ij")
    noise = np.random.default_rng(8).uniform(0, 0.1, (size, size, size, 3))
    return np.stack([red**0.7 * (0.6 + 0.3 * blue), green**2 * 0.8 + 0.1 * red, 0.9 * blue**1.5], axis=-1) + noise


TABLES = {"gamma": gamma(), "crooked": crooked(), "33 nodes": crooked(33)}


def written(folder: Path, table: NDArray[np.float64]) -> Path:
    """Return a .cube file of a table indexed by R, G, B: red fastest, nine digits."""
    size = table.shape[0]
    path = folder / "made.cube"
    lines = [" ".join(f"{v:.9f}" for v in node) for node in table.transpose(2, 1, 0, 3).reshape(-1, 3)]
    path.write_text(f'TITLE "made"\nLUT_3D_SIZE {size}\n' + "\n".join(lines) + "\n", encoding="utf-8")
    return path


def some_colours() -> NDArray[np.float32]:
    return np.random.default_rng(4).random((48, 64, 3), dtype=np.float32)


@pytest.mark.parametrize("name", TABLES)
def test_a_table_gives_what_colour_science_gives(tmp_path: Path, name: str) -> None:
    seen = read_cube(written(tmp_path, TABLES[name])).applied(some_colours())
    expected = colour.algebra.table_interpolation_tetrahedral(some_colours().astype(float), TABLES[name])
    np.testing.assert_allclose(seen, expected, atol=NEAR)


@pytest.mark.parametrize("name", TABLES)
def test_a_table_gives_what_ffmpeg_gives(tmp_path: Path, name: str) -> None:
    path = written(tmp_path, TABLES[name])
    colours = some_colours()
    height, width = colours.shape[:2]
    form = ["-f", "rawvideo", "-pix_fmt", "gbrpf32le", "-s", f"{width}x{height}"]
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", *form, "-i", "-"]
    command += ["-vf", f"lut3d=file={path.name}:interp=tetrahedral", *form, "-"]
    planes = colours[..., [1, 2, 0]].transpose(2, 0, 1).astype("<f4").tobytes()
    answer = subprocess.run(command, input=planes, capture_output=True, check=True, cwd=tmp_path).stdout
    expected = np.frombuffer(answer, "<f4").reshape(3, height, width).transpose(1, 2, 0)[..., [2, 0, 1]]
    np.testing.assert_allclose(read_cube(path).applied(colours), expected, atol=NEAR)


def test_the_worked_example_of_a_gamma() -> None:
    """Nine nodes a side of x to 1 / 2.2: colour-science and ffmpeg agreed on these values to 1e-6."""
    colours = (np.array([[64, 128, 191]]) / 255).astype(np.float32)
    seen = Lut3D(gamma().astype(np.float32)).applied(colours)
    np.testing.assert_allclose(seen, [[0.533366, 0.730962, 0.876877]], atol=2e-6)


def test_files_mean_to_us_what_they_mean_to_colour_science(tmp_path: Path) -> None:
    path = written(tmp_path, crooked())
    theirs = colour.io.read_LUT_IridasCube(str(path))
    ours = read_cube(path)
    np.testing.assert_allclose(ours.table, theirs.table, atol=1e-6)
    assert ours.title == theirs.name
    np.testing.assert_allclose([ours.low, ours.high], theirs.domain)


def test_files_that_colour_science_writes_are_read(tmp_path: Path) -> None:
    solid = colour.LUT3D(crooked(), "solid", domain=np.array([[-0.1, 0, 0.1], [1.2, 1, 0.9]]))
    single = colour.LUT3x1D(np.random.default_rng(3).random((16, 3)), "single", domain=np.array([[0, 0, 0], [1, 2, 3]]))
    for lut in (solid, single):
        path = tmp_path / f"{lut.name}.cube"
        colour.io.write_LUT_IridasCube(lut, str(path))
        ours = read_cube(path)
        np.testing.assert_allclose(ours.table, lut.table, atol=1e-6)
        np.testing.assert_allclose([ours.low, ours.high], lut.domain, atol=1e-6)
        colours = some_colours() * 0.8 + 0.1
        kind = {"interpolator": colour.algebra.table_interpolation_tetrahedral} if lut is solid else {}
        np.testing.assert_allclose(ours.applied(colours), lut.apply(colours.astype(float), **kind), atol=NEAR)
