"""The smoother against the filter of Hodrick & Prescott on the published series.

Stata's results for US real GDP with lambda 1600, as kept in the tests of statsmodels 0.15 (`test_hpfilter`).
"""

from __future__ import annotations

import numpy as np
import statsmodels.api as sm
from statsmodels.tsa.filters.hp_filter import hpfilter

from lapsebench.core.smoothing import whittaker

CYCLE = [39.51191484, 80.08853246, 48.87545512, 30.59193256, 64.88266733]
TREND = [2670.837085, 2698.712467, 2726.612545, 2754.612067, 2782.816333]


def test_the_trend_of_real_gdp_is_statas() -> None:
    series = np.asarray(sm.datasets.macrodata.load_pandas().data["realgdp"], dtype=float)
    trend = whittaker(series, 1600.0)
    np.testing.assert_allclose(trend[:5], TREND, atol=1e-5)
    np.testing.assert_allclose((series - trend)[:5], CYCLE, atol=1e-5)
    np.testing.assert_allclose(trend, hpfilter(series, 1600)[1], atol=1e-6)


def test_the_seven_point_impulse() -> None:
    """Exact rationals of (I + lam D'D)^-1 for a unit impulse among seven points, computed apart (numpy)."""
    impulse = np.zeros(7)
    impulse[3] = 1.0
    expected = {
        1.0: [-0.038462, 0.086538, 0.25, 0.403846, 0.25, 0.086538, -0.038462],
        10.0: [0.066066, 0.131660, 0.190647, 0.223255, 0.190647, 0.131660, 0.066066],
    }
    for lam, values in expected.items():
        np.testing.assert_allclose(whittaker(impulse, lam), values, atol=1e-6)
