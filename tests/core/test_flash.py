"""What counts as a flash and how flashes are counted, on pictures made for it; the values of the texts are in `outside`."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lapsebench.core.flash import FlashMeter, FlashReport, Kind, Text, Verdict

WIDTH, HEIGHT = 96, 72
Picture = np.ndarray[tuple[int, ...], np.dtype[np.float32]]


def flat(light: float) -> Picture:
    """Return a grey picture of one light."""
    return np.full((HEIGHT, WIDTH, 3), light, np.float32)


def examined(pictures: Iterable[Picture], fps: float = 24) -> FlashReport:
    meter = FlashMeter((WIDTH, HEIGHT), fps)
    for picture in pictures:
        meter.add(picture)
    return meter.report()


def most(report: FlashReport, kind: Kind = Kind.GENERAL, text: Text = Text.WCAG) -> float:
    """Return the most flashes in a second."""
    return next(peak.flashes_per_s for peak in report.peaks if (peak.kind, peak.text) == (kind, text))


def test_a_rise_spread_over_many_frames_is_one_change() -> None:
    """A wave of 4 Hz at 100 frames a second never changes by a tenth from one frame to the next."""
    light = 0.4 - 0.3 * np.cos(2 * np.pi * 4 * np.arange(300) / 100)
    assert np.abs(np.diff(light)).max() < 0.1
    report = examined(map(flat, light), fps=100)
    assert most(report) == 4
    assert report.verdict is Verdict.FAILS


def test_steps_that_go_up_only_are_one_change() -> None:
    assert most(examined(flat(0.1 * k) for k in range(10))) == 0.5


def test_a_ripple_on_a_slow_change_is_no_flash() -> None:
    light = [0.5 + 0.3 * np.sin(2 * np.pi * k / 96) + 0.04 * (-1) ** k for k in range(192)]
    assert most(examined(map(flat, light))) <= 1


def test_a_thing_that_moves_is_no_flash() -> None:
    """A bright block of a third of a field goes to and fro every frame: each place flashes only where it passes."""
    pictures = []
    for k in range(96):
        picture = flat(0.1)
        picture[20:44, 2 * (k % 40) : 2 * (k % 40) + 12] = 0.9
        pictures.append(picture)
    assert examined(pictures).verdict is Verdict.SAFE


def test_places_that_flash_out_of_step_are_found() -> None:
    """Half the pixels flash at 6 Hz against the other half: the mean stays, the flashes don't go away."""
    odd = np.indices((HEIGHT, WIDTH)).sum(axis=0) % 2 == 1
    pictures = [
        np.where((odd ^ (k // 2 % 2 == 1))[..., None], np.float32(0.9), np.float32(0.1)) * flat(1) for k in range(60)
    ]
    report = examined(pictures)
    assert most(report) == 6
    assert report.verdict is Verdict.FAILS


def test_one_place_after_the_other_is_counted_together() -> None:
    """Two halves of the picture flash at 2 Hz in turn: a field that sees both sees 4 Hz."""
    pictures = []
    for k in range(96):
        picture = flat(0.1)
        picture[:, :48] += 0.8 * (k % 12 < 3)
        picture[:, 48:] += 0.8 * (6 <= k % 12 < 9)
        pictures.append(picture)
    assert most(examined(pictures)) == 4


def test_a_finding_tells_when_and_where() -> None:
    """The lower right quarter flashes at 6 Hz from second 2 to second 4."""
    pictures = []
    for k in range(144):
        picture = flat(0.1)
        picture[36:, 48:] += 0.5 * (48 <= k < 96 and k // 2 % 2 == 1)
        pictures.append(picture)
    report = examined(pictures)
    failing = [finding for finding in report.findings if finding.verdict is Verdict.FAILS]
    assert [finding.text for finding in failing] == [Text.WCAG]  # a quarter of the screen is not more than a quarter
    found = failing[0]
    assert (found.first_frame, found.last_frame) == (50, 96)
    assert (found.start_s, found.end_s) == pytest.approx((50 / 24, 4.0))
    assert found.flashes_per_s == 6
    assert found.area > 0.95
    x0, y0, x1, y1 = found.box
    assert x0 >= 0.49 and y0 >= 0.49 and x1 <= 1 and y1 <= 1


def test_two_bursts_far_apart_are_two_findings() -> None:
    light = [0.6 if (k % 120 < 48 and k // 2 % 2) else 0.1 for k in range(240)]
    failing = [f for f in examined(map(flat, light)).findings if f.text is Text.WCAG]
    assert [round(finding.start_s) for finding in failing] == [0, 5]


def test_times_of_frames_count_not_their_number() -> None:
    """The same pictures shown at half the pace by their times flash at half the rate."""
    meter = FlashMeter((WIDTH, HEIGHT), 24)
    for k in range(96):
        meter.add(flat(0.1 + 0.5 * (k // 3 % 2)), at=k / 12)
    assert most(meter.report()) == 2


def test_highlights_flash_above_white_only_in_hdr() -> None:
    """BT.1702-3: above 160 cd/m² a Michelson contrast of 1/17 counts, which 180 against 160 has."""
    for hdr, rate in ((True, 4.0), (False, 0.0)):
        meter = FlashMeter((WIDTH, HEIGHT), 24, hdr=hdr)
        for k in range(48):
            meter.add(flat(181 / 200 if k // 3 % 2 else 160.5 / 200))
        assert most(meter.report()) == rate


def test_dark_noise_of_any_hue_is_no_red_flash() -> None:
    random = np.random.default_rng(4)
    pictures = [random.uniform(0, 0.004, (HEIGHT, WIDTH, 3)).astype(np.float32) for _ in range(72)]
    report = examined(pictures)
    assert report.verdict is Verdict.SAFE
    assert all(peak.flashes_per_s == 0 for peak in report.peaks)


def test_a_picture_of_another_size_is_refused() -> None:
    with pytest.raises(ValueError, match="picture"):
        FlashMeter((WIDTH, HEIGHT), 24).add(np.zeros((10, 10, 3), np.float32))


LIGHTS = st.lists(st.floats(0, 1, width=32), min_size=1, max_size=40)


@settings(max_examples=40, deadline=None)
@given(lights=LIGHTS, steady=st.integers(1, 60))
def test_steady_frames_at_the_end_change_nothing(lights: list[float], steady: int) -> None:
    before = examined(map(flat, lights), fps=10)
    after = examined(map(flat, lights + lights[-1:] * steady), fps=10)
    assert (before.verdict, before.findings, before.peaks) == (after.verdict, after.findings, after.peaks)


@settings(max_examples=40, deadline=None)
@given(lights=LIGHTS, steady=st.integers(1, 60))
def test_steady_frames_at_the_start_change_only_the_times(lights: list[float], steady: int) -> None:
    before = examined(map(flat, lights), fps=10)
    after = examined(map(flat, lights[:1] * steady + lights), fps=10)
    assert before.verdict is after.verdict
    assert [p.flashes_per_s for p in before.peaks] == [p.flashes_per_s for p in after.peaks]
    assert [f.first_frame + steady for f in before.findings] == [f.first_frame for f in after.findings]


@settings(max_examples=30, deadline=None)
@given(colour=st.tuples(*[st.floats(0, 1, width=32)] * 3), count=st.integers(1, 50))
def test_a_constant_film_is_safe(colour: tuple[float, float, float], count: int) -> None:
    report = examined([np.full((HEIGHT, WIDTH, 3), colour, np.float32)] * count)
    assert report.verdict is Verdict.SAFE
    assert not report.findings
    assert all(peak.flashes_per_s == 0 and peak.area == 0 for peak in report.peaks)


@settings(max_examples=40, deadline=None)
@given(lights=LIGHTS, base=st.floats(0, 0.9))
def test_a_swing_below_a_tenth_never_flashes(lights: list[float], base: float) -> None:
    report = examined(flat(base + 0.0995 * light) for light in lights)
    assert report.verdict is Verdict.SAFE
    assert most(report) == 0


@settings(max_examples=40, deadline=None)
@given(lights=LIGHTS)
def test_only_more_than_three_a_second_fails(lights: list[float]) -> None:
    report = examined(map(flat, lights), fps=10)
    assert (report.verdict is Verdict.FAILS) == any(peak.flashes_per_s > 3 for peak in report.peaks)
