"""Flashes against the texts that define them: WCAG 2.2 "general flash and red flash thresholds" and Rec. ITU-R BT.1702-3.

BT.1702-3 (11/2023) is quoted at second hand: darker below 160 cd/m², difference 20 cd/m² or more, white 200 cd/m², more than
25 % of the screen, more than six changes in a second, and a risk still where flashes go on for more than five seconds. The
lists of frames at which a clip changes are those of a published set of test clips for broadcast, made anew here.
"""

from __future__ import annotations

import re
import subprocess
from collections.abc import Iterable

import colour
import imageio_ffmpeg
import numpy as np
import pytest

from lapsebench.core.flash import FlashMeter, FlashReport, Kind, Text, Verdict
from lapsebench.core.flashswings import RED_UV, general_state, red_states
from lapsebench.core.transfer import srgb_to_linear

WIDTH, HEIGHT = 256, 192  # a screen of 1024 x 768 in blocks of 4 x 4
Picture = np.ndarray[tuple[int, ...], np.dtype[np.float32]]
Colour = tuple[float, float, float]
BLACK, RED = (0.0, 0.0, 0.0), (1.0, 0.0, 0.0)


def flat(linear: Colour) -> Picture:
    return np.broadcast_to(np.array(linear, np.float32), (HEIGHT, WIDTH, 3))


def code(value: int) -> Colour:
    """Return the linear light of a grey sRGB code, by the standard (IEC 61966-2-1)."""
    return (float(srgb_to_linear(value / 255)),) * 3


def alternating(one: Picture, other: Picture, *, hz: float, fps: int = 24, seconds: float = 3) -> Iterable[Picture]:
    """Give a square wave that starts with `one`."""
    return (other if int(2 * hz * k / fps + 1e-9) % 2 else one for k in range(round(fps * seconds)))


def changing_at(frames: Iterable[int], count: int) -> Iterable[Picture]:
    """Give a clip that turns between black and white at those frames."""
    turns = set(frames)
    return (flat(code(255 * (sum(k <= at for k in turns) % 2))) for at in range(count))


def examined(pictures: Iterable[Picture], fps: float = 24) -> FlashReport:
    meter = FlashMeter((WIDTH, HEIGHT), fps)
    for picture in pictures:
        meter.add(picture)
    return meter.report()


def most(report: FlashReport, *kinds: Kind, text: Text = Text.WCAG) -> float:
    return max(peak.flashes_per_s for peak in report.peaks if peak.kind in kinds and peak.text is text)


def fails(report: FlashReport, text: Text) -> bool:
    return any(finding.text is text and finding.verdict is Verdict.FAILS for finding in report.findings)


@pytest.mark.parametrize(
    ("dark", "light", "flash"),
    [(0, 90, True), (0, 89, False), (230, 255, True), (231, 255, True), (232, 255, False), (90, 0, True), (255, 231, True)],
)
def test_a_tenth_of_white_and_a_darker_state_below_eighty(dark: int, light: int, flash: bool) -> None:
    """L(89) = 0.0999, L(90) = 0.1022; L(231) = 0.799, L(232) = 0.807."""
    report = examined(alternating(flat(code(dark)), flat(code(light)), hz=4))
    assert most(report, Kind.GENERAL) == (4 if flash else 0)
    assert fails(report, Text.WCAG) == fails(report, Text.BT1702) == flash


@pytest.mark.parametrize(("hz", "failing"), [(1, False), (2, False), (4, True), (8, True)])
@pytest.mark.parametrize("fps", [24, 25, 30, 60])
def test_more_than_three_a_second_fail(hz: float, failing: bool, fps: int) -> None:
    report = examined(alternating(flat(BLACK), flat(code(255)), hz=hz, fps=fps), fps)
    assert report.verdict is (Verdict.FAILS if failing else Verdict.SAFE)
    assert most(report, Kind.GENERAL) == pytest.approx(hz, abs=0.5)


@pytest.mark.parametrize("fps", [24, 25, 30, 50, 60])
def test_exactly_three_a_second_pass_by_choice(fps: int) -> None:
    """Both texts forbid more than three: six changes from 0 s to just below 1 s pass; the seventh is the next second's."""
    report = examined(alternating(flat(BLACK), flat(code(255)), hz=3, fps=fps), fps)
    assert most(report, Kind.GENERAL) == 3
    assert report.verdict is Verdict.SAFE


@pytest.mark.parametrize(("share", "failing"), [(0.24, False), (0.26, True)])
def test_a_quarter_of_any_ten_degrees(share: float, failing: bool) -> None:
    """A patch of a share of 341 x 256 pixels of 1024 x 768, wherever it is."""
    for left, top in ((0, 0), (100, 70), (WIDTH - 44, HEIGHT - 34)):
        light = np.array(flat(BLACK))
        rows = 34
        light[top : top + rows, left : left + round(share * 341 * 256 / 16 / rows)] = 1
        report = examined(alternating(flat(BLACK), light, hz=5))
        assert fails(report, Text.WCAG) == failing
        assert not fails(report, Text.BT1702)
        assert max(p.area for p in report.peaks if p.text is Text.WCAG) == pytest.approx(share, abs=0.012)


@pytest.mark.parametrize(("share", "failing"), [(0.24, False), (0.26, True)])
def test_a_quarter_of_the_screen(share: float, failing: bool) -> None:
    """Stripes over all of the screen: their share of any field is that of the screen too, but for a row."""
    light = np.array(flat(BLACK))
    light[np.arange(HEIGHT) % 50 < 50 * share] = 1
    lit = light[..., 0].mean()
    report = examined(alternating(flat(BLACK), light, hz=5))
    assert (lit > 0.25) == failing
    assert fails(report, Text.BT1702) == failing
    assert max(p.area for p in report.peaks if p.text is Text.BT1702) == pytest.approx(lit, abs=1e-6)


@pytest.mark.parametrize(
    ("other", "distance", "new_rule"),
    [
        ((0.0, 0.0, 1.0), 0.457, True),
        ((0.0, 1.0, 0.0), 0.328, True),
        ((1.0, 1.0, 1.0), 0.259, True),
        ((0.5, 0.5, 0.0), 0.249, True),
        ((0.8, 0.1, 0.1), 0.111, False),
    ],
)
def test_red_by_the_rule_of_wcag_2_2(other: Colour, distance: float, new_rule: bool) -> None:
    """To or from R/(R+G+B) >= 0.8 with more than 0.2 in u'v' (ISO 9241-391); distances by colour-science."""
    to_xyz = colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ
    uv = [colour.xy_to_Luv_uv(colour.XYZ_to_xy(to_xyz @ np.array(rgb))) for rgb in (RED, other)]
    assert np.hypot(*(uv[1] - uv[0])) == pytest.approx(distance, abs=6e-4)
    assert (distance > RED_UV) == new_rule
    _, states = red_states(np.array([[RED, other]], np.float32))
    ours = states[2:, 0].T
    assert ours == pytest.approx(np.array(uv), abs=2e-4)
    report = examined(alternating(flat(RED), flat(other), hz=4))
    assert most(report, Kind.RED_CHROMATICITY) == (4 if new_rule else 0)


@pytest.mark.parametrize(
    ("one", "other", "red"),
    [
        (BLACK, RED, True),  # a change of 320
        ((0.06, 0.0, 0.0), BLACK, False),  # 19.2
        ((0.07, 0.0, 0.0), BLACK, True),  # 22.4
        (RED, (0.95, 0.0, 0.0), False),  # 16
        (RED, (0.5, 0.3, 0.3), True),
        ((1.0, 0.3, 0.3), (0.3, 0.0, 0.0), True),  # 32, and only the darker state is saturated
        ((0.7, 0.2, 0.1), BLACK, False),  # 64, but no saturated red: 0.7 of R + G + B
        ((0.85, 0.1, 0.05), BLACK, True),
        ((0.0, 0.0, 1.0), BLACK, False),
    ],
)
def test_red_by_the_older_rule(one: Colour, other: Colour, red: bool) -> None:
    """Either state R/(R+G+B) >= 0.8, and 320 (R - G - B), not below 0, changes by more than 20."""
    report = examined(alternating(flat(one), flat(other), hz=4))
    assert most(report, Kind.RED_SATURATION) == (4 if red else 0)


def test_red_and_black_have_no_chromaticity_between_them() -> None:
    assert most(examined(alternating(flat(RED), flat(BLACK), hz=4)), Kind.RED_CHROMATICITY) == 0


def test_red_that_is_too_dark_to_flash_by_luminance_fails_as_red() -> None:
    """L of (0.4, 0, 0) is 0.085."""
    report = examined(alternating(flat(BLACK), flat((0.4, 0.0, 0.0)), hz=4))
    assert most(report, Kind.GENERAL) == 0
    assert {finding.kind for finding in report.findings} == {Kind.RED_SATURATION}
    assert fails(report, Text.WCAG) and fails(report, Text.BT1702)


def test_red_that_comes_slowly_is_two_changes_and_passes() -> None:
    """Up over two seconds and down again."""
    strength = np.concatenate([np.linspace(0, 1, 50), np.linspace(1, 0, 50)])
    report = examined((flat((float(r), 0.0, 0.0)) for r in strength), 25)
    assert most(report, Kind.RED_SATURATION) <= 1
    assert report.verdict is Verdict.SAFE


def test_relative_luminance() -> None:
    """White 1, black 0, code 128 0.216, blue 0.072 (WCAG 2.2, relative luminance)."""
    colours = [code(255), BLACK, code(128), (0.0, 0.0, 1.0)]
    found = general_state(np.array([colours], np.float32))[0, 0]
    assert found == pytest.approx([1, 0, 0.216, 0.072], abs=5e-4)
    saturation, _ = red_states(np.array([[RED, BLACK]], np.float32))
    assert saturation[0, 0] == pytest.approx([320, 0])


def test_two_a_second_for_five_seconds_pass() -> None:
    report = examined(alternating(flat(BLACK), flat(code(255)), hz=2, fps=5, seconds=5), 5)
    assert most(report, Kind.GENERAL) <= 2.5
    assert report.verdict is Verdict.SAFE


def test_two_a_second_for_six_seconds_warn() -> None:
    """Changes at 4, 7, 10, 13, 28, 31, 34, 37, 53 ...: five at most in a second, too long from frame 114 on."""
    turns = [start + step for start in (4, 28, 53, 78, 103, 128) for step in (0, 3, 6, 9)]
    report = examined(changing_at(turns, 149), 25)
    assert report.verdict is Verdict.WARNING
    assert most(report, Kind.GENERAL) == 2.5
    assert [finding.text for finding in report.findings] == [Text.BT1702]
    busy = report.findings[0]
    assert busy.first_frame == 13  # the fourth change: 4 of 5 seconds are over at 113
    assert busy.start_s + 4 == pytest.approx(113 / 25)
    shorter = [at for at in turns if at <= 112]  # from 0.52 s to 5.12 s, when the fourth change from the end is a second old
    assert examined(changing_at(shorter, 149), 25).verdict is Verdict.WARNING
    shorter = [at for at in turns if at <= 103]  # to 4.24 s
    assert examined(changing_at(shorter, 149), 25).verdict is Verdict.SAFE


def test_three_a_second_in_bursts_of_six_fail() -> None:
    """Changes at 4, 7, 10, 13, 15, 18, 28 ...: seven at most in a second. The clip fails by frame 30 at the latest."""
    turns = [start + step for start in (4, 28, 53, 78, 103, 128) for step in (0, 3, 6, 9, 11, 14)]
    assert most(examined(changing_at(turns, 149), 25), Kind.GENERAL) == 3.5
    assert examined(changing_at(turns, 28), 25).verdict is not Verdict.FAILS
    assert examined(changing_at(turns, 31), 25).verdict is Verdict.FAILS


def test_grey_is_clean() -> None:
    report = examined([flat(code(128))] * 100, 25)
    assert report.verdict is Verdict.SAFE
    assert all(peak.area == 0 for peak in report.peaks)


def badness(dark: int, light: int, hz: float, fps: int = 24) -> float:
    """Return the largest badness after the start-up of 30 frames, by ffmpeg's own photosensitivity filter."""
    lead = 40
    codes = [dark] * lead + [light if int(2 * hz * k / fps + 1e-9) % 2 else dark for k in range(3 * fps)]
    raw = b"".join(bytes([value]) * (64 * 48 * 3) for value in codes)
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-hide_banner", "-f", "rawvideo", "-pix_fmt", "rgb24", "-s", "64x48"]
    command += ["-r", str(fps), "-i", "-", "-vf", "photosensitivity=bypass=1,metadata=print:file=-", "-f", "null", "-"]
    printed = subprocess.run(command, input=raw, capture_output=True, check=True).stdout.decode()
    found = [float(value) for value in re.findall(r"photosensitivity\.badness=([\d.]+)", printed)]
    assert len(found) > lead + fps
    return max(found[lead - 1 :])


def test_the_order_of_clips_is_that_of_an_independent_alarm() -> None:
    """Its badness grows with rate x swing: so does our rate within one swing, and what it calls steady we do too."""
    for light in (90, 255):
        rates = [1, 2, 4, 6]
        alarms = [badness(0, light, hz) for hz in rates]
        ours = [most(examined(alternating(flat(BLACK), flat(code(light)), hz=hz)), Kind.GENERAL) for hz in rates]
        print(f"0 <-> {light}: alarm {np.round(alarms, 2)}, flashes a second {ours}")
        assert np.all(np.diff(alarms) > 0) and np.all(np.diff(ours) > 0)
    strong, weak = badness(0, 255, 4), badness(0, 90, 4)
    assert strong > weak > badness(128, 128, 4) == 0
