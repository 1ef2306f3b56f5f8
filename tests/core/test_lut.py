"""Tables of colour: nodes are met, values between lie between, and a .cube text that is wrong says where.

Grammar and limits: Cube LUT Specification 1.0 (Adobe, 2013), from memory.
"""

from __future__ import annotations

import time
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from lapsebench.core.cube import parse_cube
from lapsebench.core.lut import Lut1D, Lut3D
from lapsebench.errors import LapsebenchError

TINY = "\n".join(f"{r} {g} {b}" for b, g, r in product((0, 1), repeat=3))
SHARES = st.floats(0, 1, width=32)


def colours(count: int = 5000) -> NDArray[np.float32]:
    return np.random.default_rng(2).uniform(-0.2, 1.2, (count, 3)).astype(np.float32)


def some_table(size: int) -> NDArray[np.float32]:
    return np.random.default_rng(size).random((size, size, size, 3), dtype=np.float32)


def test_a_straight_table_changes_nothing_within_its_domain_and_holds_what_is_beyond() -> None:
    axis = np.linspace(0, 1, 5, dtype=np.float32)
    straight = Lut3D(np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1).astype(np.float32))
    single = Lut1D(np.repeat(axis[:, None], 3, axis=1))
    for lut in (straight, single):
        assert np.abs(lut.applied(colours()) - np.clip(colours(), 0, 1)).max() < 1e-6


def test_every_node_is_met() -> None:
    table = some_table(4)
    nodes = (np.array(list(product(range(4), repeat=3))) / 3).astype(np.float32)
    assert np.abs(Lut3D(table).applied(nodes) - table.reshape(-1, 3)).max() < 1e-6


@given(SHARES, SHARES, SHARES)
def test_what_lies_between_nodes_is_a_mixture_of_the_nodes_around(red: float, green: float, blue: float) -> None:
    table = some_table(2)
    mixed = Lut3D(table).applied(np.array([[red, green, blue]], np.float32))[0]
    assert (mixed >= table.reshape(-1, 3).min(axis=0) - 1e-6).all()
    assert (mixed <= table.reshape(-1, 3).max(axis=0) + 1e-6).all()


def test_greys_stay_grey_between_grey_nodes() -> None:
    table = some_table(3)
    for k in range(3):
        table[k, k, k] = (k / 2) ** 2
    greys = np.linspace(0, 1, 101, dtype=np.float32)[:, None].repeat(3, axis=1)
    assert np.ptp(Lut3D(table).applied(greys), axis=1).max() < 1e-6


def test_a_domain_is_that_of_each_channel() -> None:
    single = Lut1D(np.array([[0, 0, 0], [1, 1, 1]], np.float32), (0, -1, 0), (2, 1, 4))
    seen = single.applied(np.array([[1, 0, 1], [9, 9, 9], [-9, -9, -9]], np.float32))
    assert np.abs(seen - np.array([[0.5, 0.5, 0.25], [1, 1, 1], [0, 0, 0]])).max() < 1e-6
    solid = Lut3D(parse_cube("LUT_3D_SIZE 2\n" + TINY).table, (0, -1, 0), (2, 1, 4))
    np.testing.assert_allclose(solid.applied(np.array([[1, 0, 1]], np.float32)), [[0.5, 0.5, 0.25]], atol=1e-6)


def test_what_is_no_number_or_without_end_is_held_at_the_ends() -> None:
    odd = np.array([[np.nan, np.inf, -np.inf]], np.float32)
    for lut in (parse_cube("LUT_3D_SIZE 2\n" + TINY), parse_cube("LUT_1D_SIZE 2\n0 0 0\n1 1 1")):
        assert lut.applied(odd).tolist() == [[0, 1, 0]]


def test_pictures_keep_their_shape() -> None:
    picture = np.zeros((6, 4, 3), np.float32)
    assert parse_cube("LUT_3D_SIZE 2\n" + TINY).applied(picture).shape == (6, 4, 3)


def test_a_large_frame_takes_under_0_4_s() -> None:
    frame = np.random.default_rng(1).random((1080, 1920, 3), dtype=np.float32)
    lut = Lut3D(some_table(33))
    took = []
    for _ in range(3):
        start = time.process_time()
        lut.applied(frame)
        took.append(time.process_time() - start)
    print(f"33 nodes a side, 1920 x 1080: {min(took):.3f} s")
    assert min(took) < 0.4


def test_red_changes_fastest() -> None:
    lut = parse_cube("LUT_3D_SIZE 2\n" + TINY)
    assert isinstance(lut, Lut3D)
    for node in product((0, 1), repeat=3):
        assert lut.table[node].tolist() == list(node)


def test_all_that_the_specification_knows_is_read() -> None:
    text = '# of ours\nTITLE "Green # night"\n\nDOMAIN_MIN -1 0 .5\nDOMAIN_MAX\t2 1e0 +1.5\nLUT_1D_SIZE 3\n'
    lut = parse_cube(text + "0 0 0\n  .25\t5e-1 -0.5 # middle\n#between\n1 1 1.5\n\n")
    assert isinstance(lut, Lut1D)
    assert (lut.title, lut.low, lut.high) == ("Green # night", (-1, 0, 0.5), (2, 1, 1.5))
    assert lut.table.tolist() == [[0, 0, 0], [0.25, 0.5, -0.5], [1, 1, 1.5]]


def test_line_ends_byte_order_marks_and_small_letters_do_no_harm() -> None:
    text = f'\ufefftitle "t"\nlut_3d_size 2\n{TINY}\n'
    for end in ("\r\n", "\r"):
        other = parse_cube(text.replace("\n", end))
        assert other.table.tolist() == parse_cube(text).table.tolist()


def test_an_input_range_is_the_domain_of_all_channels() -> None:
    lut = parse_cube("LUT_3D_SIZE 2\nLUT_3D_INPUT_RANGE -0.5 2\n" + TINY)
    assert (lut.low, lut.high) == ((-0.5,) * 3, (2.0,) * 3)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "no size"),
        ("LUT_3D_SIZE 2", "table of 8 lines is missing"),
        (TINY, "Line 1 of the LUT comes before any size"),
        ("LUT_3D_SIZE 1\n" + TINY, "Line 1 .* from 2 to 256, not 1"),
        ("LUT_3D_SIZE 257", "from 2 to 256"),
        ("LUT_1D_SIZE 65537", "from 2 to 65536"),
        ("LUT_3D_SIZE two", "needs one whole number"),
        ("LUT_3D_SIZE 99999999999999999999", "needs one whole number"),
        ("LUT_3D_SIZE 2\nLUT_1D_SIZE 2\n" + TINY, "both a 1D and a 3D"),
        ("LUT_3D_SIZE 2\nLUT_3D_SIZE 2\n" + TINY, "Line 2 .* second time"),
        ("LUT_3D_SIZE 2\n" + TINY + "\n1 1 1", "Line 10 .* goes on after its 8"),
        ("LUT_3D_SIZE 2\n" + TINY[:-6], "ends after 7 of the 8"),
        ("LUT_3D_SIZE 2\n" + TINY.replace("1 0 0", "1 0"), "Line 3 .* three numbers"),
        ("LUT_3D_SIZE 2\n" + TINY.replace("1 0 0", "1 0 0 0"), "Line 3 .* three numbers"),
        ("LUT_3D_SIZE 2\n" + TINY.replace("1 0 0", "1 0,5 0"), "Line 3 .* three numbers"),
        ("LUT_3D_SIZE 2\n" + TINY.replace("1 0 0", "1 1_0 0"), "Line 3 .* three numbers"),
        ("LUT_3D_SIZE 2\n" + TINY.replace("1 0 0", "1 nan 0"), "Line 3 .* beyond all light"),
        ("LUT_3D_SIZE 2\n" + TINY.replace("1 0 0", "1 1e999 0"), "Line 3 .* beyond all light"),
        ("LUT_3D_SIZE 2\n" + TINY.replace("1 0 0", "1 1e7 0"), "Line 3 .* beyond all light"),
        ("LUT_3D_SIZE 2\nDOMAIN_MIN 0 0\n" + TINY, "Line 2 .* needs 3 numbers"),
        ("LUT_3D_SIZE 2\nDOMAIN_MIN 1 0 0\n" + TINY, "domain ends before it begins"),
        ("LUT_3D_SIZE 2\nDOMAIN_MAX nan 1 1\n" + TINY, "Line 2 .* beyond all light"),
        ("LUT_3D_SIZE 2\nDOMAIN_MAX 1 1 1\nLUT_3D_INPUT_RANGE 0 1\n" + TINY, "domain twice"),
        ("LUT_3D_SIZE 2\nFULL_RANGE 1\n" + TINY, "Line 2 .*FULL_RANGE.* not known"),
        ("LUT_3D_SIZE 2\n" + TINY + "\nTITLE late", "Line 10 .* three numbers"),
    ],
)
def test_what_is_wrong_is_said(text: str, told: str) -> None:
    with pytest.raises(LapsebenchError, match=told):
        parse_cube(text)


WORDS = st.sampled_from(
    [
        "TITLE",
        "LUT_1D_SIZE",
        "LUT_3D_SIZE",
        "DOMAIN_MIN",
        "DOMAIN_MAX",
        "2",
        "3",
        "0 0 0",
        "1 1 1",
        "\n",
        "\n",
        "\r\n",
        " ",
        "#",
    ]
)


@given(st.one_of(st.text(), st.lists(WORDS, max_size=40).map(" ".join), st.lists(WORDS, max_size=40).map("".join)))
def test_any_text_ends_in_a_table_or_a_reason(text: str) -> None:
    try:
        lut = parse_cube(text)
    except LapsebenchError as error:
        assert error.what
        assert error.remedy
    else:
        assert np.isfinite(lut.table).all()
