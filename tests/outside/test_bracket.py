"""A static scene taken 1 stop apart from 32 s to 1/1024 s: the steps the pixels show, through the estimated response.

The set of Debevec & Malik (SIGGRAPH 1997). It was scanned from film: its response is far from sRGB in the dark, where
codes rest on a pedestal.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from lapsebench.core.faults import Tiles, usable_tiles
from lapsebench.core.gainpath import solve_path
from lapsebench.core.metering import COLS, ROWS
from lapsebench.core.pairwise import pair_gains
from lapsebench.core.response import Response, srgb_response
from lapsebench.core.response_fit import fit_responses
from lapsebench.core.response_samples import Around
from lapsebench.imaging.proxy import measure_frame, tile_means
from lapsebench.io.read import read_picture, to_linear

Floats = NDArray[np.float64]


@pytest.fixture(scope="module")
def bracket(shared_data: Path) -> tuple[Tiles, Floats]:
    folder = shared_data / "bracket_memorial"
    pictures = [read_picture(path) for path in sorted(folder.glob("*.png"))]
    measures = [measure_frame(picture.codes, to_linear(picture), srgb=picture.is_srgb) for picture in pictures]
    times = [float(Fraction(line)) for line in (folder / "shutter_times.txt").read_text().split()]
    tiles = Tiles(np.stack([m.tiles for m in measures]), np.stack([m.clipped for m in measures]))
    tiles.clipped[:, _border([picture.codes for picture in pictures])] = 1.0
    return tiles, np.log2(times)


def _border(pictures: list[NDArray[Any]]) -> NDArray[np.bool_]:
    """Return the tiles that the set's registration filled with pure blue in any frame."""
    blue = np.stack([(codes == (0, 0, 255)).all(axis=2) for codes in pictures]).any(axis=0)
    return tile_means(np.asarray(blue, np.float32), COLS, ROWS) > 0


def pixel_steps(tiles: Tiles, responses: list[Response]) -> Floats:
    """Return the steps between neighbours from the pixels alone, stops, (15,)."""
    n = tiles.rgb.shape[0]
    usable = usable_tiles(tiles, np.zeros(n, bool))
    light = [np.ascontiguousarray(tiles.rgb[..., c]).reshape(n, -1) for c in range(3)]
    weights = [usable[..., c].reshape(n, -1) for c in range(3)]
    seen = [responses[c].seen(light[c]) for c in range(3)]
    log_tiles = np.concatenate([ev for ev, _ in seen], axis=1)
    weight = np.concatenate([weights[c] * steady for c, (_, steady) in enumerate(seen)], axis=1)
    return np.diff(solve_path(pair_gains(log_tiles, weight), n))


def test_every_step_is_one_stop(bracket: tuple[Tiles, Floats]) -> None:
    tiles, exposure_ev = bracket
    n = exposure_ev.size
    usable = usable_tiles(tiles, np.zeros(n, bool)).reshape(n, -1, 3)
    light = tiles.rgb.reshape(n, -1, 3)
    responses = list(fit_responses([Around(np.moveaxis(light, 2, 0), np.moveaxis(usable, 2, 0), exposure_ev)]))
    print("misfits:", [response.misfit_ev for response in responses], [response.estimated for response in responses])
    steps = pixel_steps(tiles, responses)
    print("steps:", np.round(steps, 3))
    assert np.abs(steps + 1).max() <= 0.03


def test_taking_srgb_for_this_film_would_lose_the_dark_steps(bracket: tuple[Tiles, Floats]) -> None:
    steps = pixel_steps(bracket[0], [srgb_response()] * 3)
    assert np.abs(steps + 1).max() > 0.5
