"""A .cube file is read whatever encoding it was saved in; one that can't be used says its name and why."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from lapsebench.errors import LapsebenchError
from lapsebench.io.cubefile import MOST_BYTES, read_cube

TEXT = 'TITLE "Grün"\nLUT_1D_SIZE 2\n0 0 0\n1 .5 1\n'


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_every_usual_encoding_is_read(tmp_path: Path, encoding: str) -> None:
    path = tmp_path / "night.cube"
    path.write_bytes(TEXT.replace("\n", "\r\n").encode(encoding))
    lut = read_cube(path)
    assert lut.title == "Grün"
    assert lut.table.tolist() == [[0, 0, 0], [1, 0.5, 1]]


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "no size"),
        (b"LUT_1D_SIZE 2\n0 0 0\n1 x 1\n", "Line 3"),
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "no text"),
        (b"\xff\xd8\xff\xe1Exif", "Line 1"),
        (b"\xff\xfeL\xd8", "Line 1"),
    ],
)
def test_what_is_wrong_is_said_with_the_name(tmp_path: Path, data: bytes, told: str) -> None:
    path = tmp_path / "night.cube"
    path.write_bytes(data)
    with pytest.raises(LapsebenchError, match=f"night.cube.*{told}"):
        read_cube(path)


def test_what_is_too_large_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "film.cube"
    path.touch()
    os.truncate(path, MOST_BYTES + 1)
    with pytest.raises(LapsebenchError, match=r"film\.cube.* too large"):
        read_cube(path)


def test_what_is_no_file_is_said(tmp_path: Path) -> None:
    for path in (tmp_path / "gone.cube", tmp_path):
        with pytest.raises(LapsebenchError, match="not there, or no file"):
            read_cube(path)
