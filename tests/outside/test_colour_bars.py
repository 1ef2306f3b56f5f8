"""Colour bars through the film, against the narrow-range codes of Rec. ITU-R BT.709-6 item 4.

A film made with the BT.601 matrix has luma 81 in the red bar; one of full range has 255 in the white one.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from numpy.typing import NDArray

from lapsebench.core.formats import FilmFormat
from lapsebench.imaging.planes import film_frame
from lapsebench.io.encode import FilmWriter

BARS = {
    (255, 255, 255): (235, 128, 128),
    (0, 0, 0): (16, 128, 128),
    (255, 0, 0): (63, 102, 240),
    (0, 255, 0): (173, 42, 26),
    (0, 0, 255): (32, 240, 118),
    (128, 128, 128): (126, 128, 128),
    (255, 255, 0): (219, 16, 138),
    (0, 255, 255): (188, 154, 16),
}
WIDTH = 80


@pytest.fixture(scope="module", params=["bars.mp4", "bars.mov"])
def planes(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> list[list[NDArray[np.uint8]]]:
    """The Y, Cb and Cr planes of every frame of a film of bars."""
    bars = np.repeat(np.array(list(BARS), np.uint8)[None], WIDTH, axis=1).repeat(360, axis=0)
    path: Path = tmp_path_factory.mktemp("bars") / request.param
    with FilmWriter(path, size=(WIDTH * len(BARS), 360), fps=Fraction(25), quality=100) as film:
        for n in range(12):
            film.write(film_frame(bars, FilmFormat.H264, n))
        film.finish()
    with av.open(path) as decoded:
        return [
            [np.asarray(plane).reshape(plane.height, plane.line_size) for plane in frame.planes]
            for frame in decoded.decode(video=0)
        ]


@pytest.mark.parametrize("bar", range(len(BARS)))
def test_bars_have_the_codes_of_the_recommendation(planes: list[list[NDArray[np.uint8]]], bar: int) -> None:
    expected = list(BARS.values())[bar]
    assert len(planes) == 12
    for luma, blue, red in planes:
        middle = bar * WIDTH + WIDTH // 2
        found = luma[180, middle], blue[90, middle // 2], red[90, middle // 2]
        assert np.abs(np.array(found, int) - expected).max() <= 2


def test_the_codes_are_those_of_the_formula() -> None:
    for rgb, expected in BARS.items():
        r, g, b = np.array(rgb) / 255
        luma = 0.2126 * r + 0.7152 * g + 0.0722 * b
        found = 16 + 219 * luma, 128 + 224 * (b - luma) / 1.8556, 128 + 224 * (r - luma) / 1.5748
        assert np.abs(np.array(found) - expected).max() < 0.51
