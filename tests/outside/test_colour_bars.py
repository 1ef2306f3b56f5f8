"""Colour bars through the film, against the narrow-range codes of Rec. ITU-R BT.709-6 item 4.

A film made with the BT.601 matrix has luma 81 in the red bar; one of full range has 255 in the white one.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from filmreading import BARS, Floats, planes_of

from lapsebench.core.formats import FilmFormat
from lapsebench.imaging.planes import film_frame
from lapsebench.io.encode import FilmWriter

WIDTH = 80


@pytest.fixture(scope="module", params=["bars.mp4", "bars.mov"])
def planes(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> list[list[Floats]]:
    """The Y, Cb and Cr planes of every frame of a film of bars."""
    bars = np.repeat(np.array(list(BARS), np.uint8)[None], WIDTH, axis=1).repeat(360, axis=0)
    path: Path = tmp_path_factory.mktemp("bars") / request.param
    with FilmWriter(path, size=(WIDTH * len(BARS), 360), fps=Fraction(25), quality=100) as film:
        for n in range(12):
            film.write(film_frame(bars, FilmFormat.H264, n))
        film.finish()
    with av.open(path) as decoded:
        return [planes_of(frame) for frame in decoded.decode(video=0)]


@pytest.mark.parametrize("bar", range(len(BARS)))
def test_bars_have_the_codes_of_the_recommendation(planes: list[list[Floats]], bar: int) -> None:
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
