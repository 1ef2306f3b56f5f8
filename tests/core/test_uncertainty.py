"""Frames whose exposure is uncertain: those that would be seen to flicker, and no others."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from lapsebench.core.uncertainty import SURE_ERRORS, UNCERTAIN_EV, uncertain_frames

SEEN_EV = 0.016
"""Least flicker that is seen, peak to peak: 0.55 % to either side (Robson 1966)."""


def test_the_limit_is_where_flicker_is_more_often_seen_than_not() -> None:
    assert np.isclose(np.log2(1.0055 / 0.9945), SEEN_EV, atol=5e-4)
    seen = 2 * norm.sf(SEEN_EV, scale=np.hypot(UNCERTAIN_EV, UNCERTAIN_EV))
    assert 0.5 < seen < 0.6
    assert np.isclose(norm.cdf(SURE_ERRORS) - norm.cdf(-SURE_ERRORS), 0.95, atol=0.005)


@given(st.lists(st.tuples(st.floats(0, 0.1) | st.just(np.nan), st.booleans()), min_size=2, max_size=40))
def test_only_known_errors_of_good_frames_count(frames: list[tuple[float, bool]]) -> None:
    error, spoilt = np.array([e for e, _ in frames]), np.array([s for _, s in frames])
    found = uncertain_frames(error, spoilt)
    asked = [np.isfinite(e) and not s for e, s in frames]
    wanted = [ask and e > UNCERTAIN_EV and sum(asked) > 1 for ask, (e, _) in zip(asked, frames, strict=True)]
    assert found.tolist() == wanted


def test_a_frame_alone_is_not_uncertain() -> None:
    assert not uncertain_frames(np.array([0.06]), np.zeros(1, bool)).any()
    assert not uncertain_frames(np.array([0.06, np.nan]), np.zeros(2, bool)).any()
    assert not uncertain_frames(np.empty(0), np.empty(0, bool)).size
