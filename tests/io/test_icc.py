"""Colour profiles: each kind of embedded profile gives the light that a colour engine gives."""

from __future__ import annotations

import struct
import warnings
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image, ImageCms

from lapsebench.core.transfer import srgb_to_linear
from lapsebench.io.icc import DCF_OPTION, SRGB, light_table, parse_profile
from lapsebench.io.read import Picture, read_picture, to_linear

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it warns on import that it can't plot here
    import colour

WIDE_XY = ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06))
PHONE_XY = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))
SRGB_PARAMETERS = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)


def fixed(*values: float) -> bytes:
    return struct.pack(f">{len(values)}i", *(round(v * 65536) for v in values))


def gamma_curve(gamma: float) -> bytes:
    return b"curv" + bytes(4) + struct.pack(">IHH", 1, round(gamma * 256), 0)


def table_curve(gamma: float, count: int) -> bytes:
    values = np.round(np.linspace(0, 1, count) ** gamma * 65535).astype(">u2").tobytes()
    return b"curv" + bytes(4) + struct.pack(">I", count) + values


def parametric_curve(kind: int, *parameters: float) -> bytes:
    return b"para" + bytes(4) + struct.pack(">HH", kind, 0) + fixed(*parameters)


def colorants(primaries: tuple[tuple[float, float], ...]) -> NDArray[np.float64]:
    """Linear RGB (D65) -> XYZ D50 by way of colour-science, not of our own sums."""
    d65, d50 = np.array([0.3127, 0.3290]), colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
    npm = colour.normalised_primary_matrix(np.array(primaries), d65)
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        colour.xy_to_XYZ(d65), colour.xy_to_XYZ(d50), transform="Bradford"
    )
    return np.asarray(adapt @ npm)


def profile(curve: bytes, primaries: tuple[tuple[float, float], ...] = WIDE_XY, space: bytes = b"RGB ") -> bytes:
    """The least matrix profile there can be."""
    matrix = colorants(primaries)
    text = "test space".encode("utf-16-be")
    parts = {
        b"desc": b"mluc" + bytes(4) + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(text), 28) + text,
        b"wtpt": b"XYZ " + bytes(4) + fixed(0.9642, 1.0, 0.8249),
        b"cprt": b"mluc" + bytes(4) + struct.pack(">II2s2sII", 1, 12, b"en", b"US", 2, 28) + b"\0x",
        **{name: b"XYZ " + bytes(4) + fixed(*matrix[:, i]) for i, name in enumerate((b"rXYZ", b"gXYZ", b"bXYZ"))},
        **dict.fromkeys((b"rTRC", b"gTRC", b"bTRC"), curve),
    }
    index, body = b"", b""
    start = 128 + 4 + 12 * len(parts)
    for name, data in parts.items():
        index += name + struct.pack(">II", start + len(body), len(data))
        body += data + bytes(-len(data) % 4)
    head = struct.pack(">I4sI4s4s4s", start + len(body), b"none", 0x04200000, b"mntr", space, b"XYZ ") + bytes(12) + b"acsp"
    head += bytes(28) + fixed(0.9642, 1.0, 0.8249)
    return head.ljust(128, b"\0") + struct.pack(">I", len(parts)) + index + body


def engine_light(codes: NDArray[np.uint8], icc: bytes) -> NDArray[np.float64]:
    """What a colour engine makes of the codes: sRGB, then linear."""
    source = ImageCms.ImageCmsProfile(BytesIO(icc))
    target = ImageCms.createProfile("sRGB")
    intent = ImageCms.Intent.RELATIVE_COLORIMETRIC
    out = ImageCms.profileToProfile(Image.fromarray(codes), source, target, renderingIntent=intent, outputMode="RGB")
    return srgb_to_linear(np.asarray(out) / 255)


CURVES = {
    "gamma": gamma_curve(2.2),
    "table": table_curve(2.2, 1024),
    "type 0": parametric_curve(0, 2.2),
    "type 1": parametric_curve(1, 2.4, 1 / 1.055, 0.055 / 1.055),
    "type 2": parametric_curve(2, 2.4, 0.95, 0.04, 0.0),
    "type 3": parametric_curve(3, *SRGB_PARAMETERS),
    "type 4": parametric_curve(4, *SRGB_PARAMETERS, 0.0, 0.0),
}


@pytest.mark.parametrize("curve", CURVES.values(), ids=CURVES.keys())
@pytest.mark.parametrize("primaries", [WIDE_XY, PHONE_XY], ids=["wide", "phone"])
def test_matrix_profiles_give_the_light_of_a_colour_engine(curve: bytes, primaries: tuple[tuple[float, float], ...]) -> None:
    icc = profile(curve, primaries)
    grid = np.array(
        [[r, g, b] for r in range(40, 256, 43) for g in range(40, 256, 43) for b in range(40, 256, 43)], np.uint8
    )
    ours = to_linear(Picture(grid[:, None], parse_profile(icc)))[:, 0]
    theirs = engine_light(grid[:, None], icc)[:, 0]
    inside = ((ours > 0.002) & (ours < 0.998)).all(axis=1)  # the engine's 8-bit result is cut off outside sRGB
    assert inside.sum() > 50
    assert np.abs(ours - theirs)[inside].max() < 0.008
    codes = np.abs(colour.models.eotf_inverse_sRGB(ours[inside]) - colour.models.eotf_inverse_sRGB(theirs[inside]))
    assert np.median(codes) < 0.6 / 255


def test_white_stays_white_and_black_black() -> None:
    for curve in CURVES.values():
        light = to_linear(Picture(np.array([[[255] * 3, [0] * 3]], np.uint8), parse_profile(profile(curve))))
        np.testing.assert_allclose(light[0, 0], light[0, 0, 0], atol=1e-5)
        assert light[0, 0, 0] == pytest.approx(1.0, abs=0.03)
        assert abs(light[0, 1]).max() < 0.002


def test_srgb_is_known_for_what_it_is() -> None:
    icc = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    found = parse_profile(icc)
    assert (found.matrix, found.curves, found.note) == (None, SRGB.curves, "")
    reference = colour.models.eotf_sRGB(np.arange(256) / 255)
    np.testing.assert_allclose(light_table(found, 256)[:, 0], reference, atol=1e-6)
    np.testing.assert_allclose(light_table(found, 65536)[::257, 2], reference, atol=1e-6)


def test_the_camera_option_space_agrees_with_colour_science() -> None:
    wide = colour.RGB_Colourspace("wide", np.array(WIDE_XY), np.array([0.3127, 0.3290]))
    narrow = colour.RGB_COLOURSPACES["sRGB"]
    rgb = np.array([[0.2, 0.5, 0.3], [0.6, 0.5, 0.55]])
    expected = colour.RGB_to_RGB(rgb ** (563 / 256), wide, narrow)
    codes = np.round(rgb * 65535).astype(np.uint16)[None]
    np.testing.assert_allclose(to_linear(Picture(codes, DCF_OPTION))[0], expected, atol=1e-3)


@pytest.mark.parametrize("suffix", [".jpg", ".png", ".tif"])
def test_the_profile_is_found_in_every_format(tmp_path: Path, suffix: str) -> None:
    icc = profile(table_curve(2.2, 4096), PHONE_XY)
    path = tmp_path / f"F1{suffix}"
    Image.new("RGB", (8, 8), (90, 120, 60)).save(path, icc_profile=icc)
    found = read_picture(path).profile
    assert found.name == "test space"
    assert found == parse_profile(icc)
    assert found.matrix is not None


def test_a_profile_in_several_pieces_is_put_together(tmp_path: Path) -> None:
    icc = profile(table_curve(1.8, 4096)) + bytes(150_000)
    path = tmp_path / "F1.jpg"
    Image.new("RGB", (8, 8)).save(path, icc_profile=icc)
    assert read_picture(path).profile == parse_profile(icc)


@pytest.mark.parametrize(
    ("icc", "words"),
    [
        (profile(gamma_curve(2.2), space=b"CMYK"), "not of the plain matrix kind"),
        (profile(gamma_curve(2.2), space=b"GRAY"), "not of the plain matrix kind"),
        (profile(gamma_curve(2.2)).replace(b"rTRC", b"A2B0"), "not of the plain matrix kind"),
        (profile(gamma_curve(2.2))[:200], "damaged"),
        (profile(parametric_curve(9)), "damaged"),
        (b"nonsense", "damaged"),
    ],
)
def test_a_profile_of_no_use_is_taken_for_srgb_and_says_so(icc: bytes, words: str) -> None:
    found = parse_profile(icc)
    assert (found.name, found.curves, found.matrix) == ("sRGB", SRGB.curves, None)
    assert words in found.note
    assert "sRGB is assumed" in found.note


@given(st.integers(0, 500), st.binary(min_size=1, max_size=16))
def test_a_damaged_profile_never_breaks_the_reader(at: int, noise: bytes) -> None:
    icc = bytearray(profile(parametric_curve(3, *SRGB_PARAMETERS)))
    icc[at : at + len(noise)] = noise
    found = parse_profile(bytes(icc))
    assert np.isfinite(light_table(found, 256)).all()
