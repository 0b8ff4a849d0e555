"""Repeated-measures correlation, against R and pingouin."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from kit.analysis.association import between_groups, within_groups
from kit.errors import ModelError
from tests.analysis.reference import data, values


@pytest.mark.parametrize("name", ["rmcorr_esp", "rmcorr_orthodont"])
def test_within_against_r(name):
    """tests/reference/measurement: formulae of Bakdash & Marusich (2017), R 4.2."""
    case = values(f"measurement/{name}")
    found = within_groups(data(case), case["x"], case["y"], case["subject"])
    assert found.r == pytest.approx(case["r_rm"], rel=1e-8)
    assert found.df == case["df"]
    assert found.p == pytest.approx(case["p"], rel=1e-6)
    assert found.slope == pytest.approx(case["slope"], rel=1e-8)
    limits = case["ci95_fisher_n_eff_df_plus_2"]
    assert (found.lower, found.upper) == pytest.approx(limits, rel=1e-8)


def test_between_is_pearson_on_means():
    """scipy.stats.pearsonr on the subject means; the interval of R's cor.test is Fisher's too."""
    from scipy import stats

    rng = np.random.default_rng(4)
    table = pd.DataFrame(rng.normal(size=(36, 2)), columns=["x", "y"])
    table["method"] = np.repeat(list("ABCDEF"), [2, 4, 6, 7, 8, 9])
    found = between_groups(table, "x", "y")
    means = table.groupby("method").mean()
    other = stats.pearsonr(means["x"], means["y"])
    limits = other.confidence_interval()
    assert (found.r, found.p) == pytest.approx((other.statistic, other.pvalue))
    assert (found.lower, found.upper) == pytest.approx((limits.low, limits.high))


def test_within_and_between_can_point_opposite_ways():
    rng = np.random.default_rng(2)
    method = np.repeat(np.arange(6), 10)
    own = rng.normal(size=60)
    table = pd.DataFrame(
        {"method": method, "ey_pct": method + own, "liking": method - own + rng.normal(size=60) / 5}
    )
    assert within_groups(table, "ey_pct", "liking").upper < 0
    assert between_groups(table, "ey_pct", "liking").lower > 0


def test_too_little_is_said():
    table = pd.DataFrame(
        {"method": list("AAABBB"), "x": [1, 2, 3, 1, 2, 4], "y": [1, 1, 2, 3, 1, 5]}
    )
    with pytest.raises(ModelError, match="any line fits"):
        between_groups(table, "x", "y")
    with pytest.raises(ModelError, match="never varies"):
        within_groups(pd.concat([table, table]).assign(y=1.0), "x", "y")
    with pytest.raises(ModelError, match="set side by side"):
        within_groups(table.assign(y=[np.nan] * 5 + [1], x=[1, 2, 3, 4, 5, np.nan]), "x", "y")
