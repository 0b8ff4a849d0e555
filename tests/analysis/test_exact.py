"""Exact conditional inference, against R and scipy and by its own definition."""

from __future__ import annotations

from fractions import Fraction
from math import comb, inf, isnan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from kit.analysis.exact import exact_odds_ratio, exact_stratified_p
from kit.errors import DataError
from tests.analysis.reference import data, values

COUNTS = st.lists(st.integers(0, 7), min_size=4, max_size=4)


@pytest.mark.parametrize("name", ["esp", "rabbits", "ucb"])
def test_stratified_test_against_r(name):
    """tests/reference/binary: mantelhaen.test(exact = TRUE), R 4.2."""
    case = values(f"binary/cmh_{name}")
    tables = data(case)[["a", "b", "c", "d"]].to_numpy()
    assert exact_stratified_p(tables) == pytest.approx(case["exact_p"], rel=1e-9)
    assert exact_odds_ratio(tables)[0] == pytest.approx(case["exact_or_cmle"], rel=1e-4)


def table_of(case):
    return np.array([[case["x1"], case["n1"] - case["x1"], case["x2"], case["n2"] - case["x2"]]])


@pytest.mark.parametrize("case", values("binary/two_by_two")["cases"])
def test_one_stratum_is_fisher(case):
    """tests/reference/binary: fisher.test, R 4.2."""
    assert exact_stratified_p(table_of(case)) == pytest.approx(case["fisher_two_sided"], rel=1e-8)


@pytest.mark.parametrize("case", values("binary/two_by_two")["cases"])
def test_odds_ratio_against_scipy(case):
    """scipy.stats.contingency.odds_ratio(kind="conditional"); R's root search is coarser."""
    table = table_of(case)
    if case["x1"] + case["x2"] == 0:
        assert isnan(exact_odds_ratio(table)[0])
        return
    other = stats.contingency.odds_ratio(table.reshape(2, 2).astype(int))
    interval = other.confidence_interval(0.95)
    expected = (other.statistic, interval.low, interval.high)
    assert exact_odds_ratio(table) == pytest.approx(expected, rel=1e-6)


def test_tea_tasting():
    """Fisher (1935), eight cups: all right 1/70 one-sided, so 2/70 two-sided; 3 of 4, 34/70."""
    assert exact_stratified_p(np.array([[4, 0, 0, 4]])) == pytest.approx(2 / 70)
    assert exact_stratified_p(np.array([[3, 1, 1, 3]])) == pytest.approx(34 / 70)


def test_separation_keeps_a_valid_interval():
    estimate, lower, upper = exact_odds_ratio(np.array([[5, 0, 0, 5], [4, 0, 0, 4]]))
    assert estimate == inf
    assert lower > 1
    assert upper == inf
    assert exact_odds_ratio(np.array([[0, 5, 5, 0]]))[:2] == (0.0, 0.0)


@given(st.lists(COUNTS, min_size=1, max_size=3))
def test_p_by_enumeration_in_whole_numbers(tables):
    weights = {0: Fraction(1)}
    for a, b, c, d in tables:
        here = {
            x: comb(a + b, x) * comb(c + d, a + c - x)
            for x in range(max(0, a - d), min(a + b, a + c) + 1)
        }
        grown: dict[int, Fraction] = {}
        for total, weight in weights.items():
            for x, more in here.items():
                grown[total + x] = grown.get(total + x, Fraction(0)) + weight * more
        weights = grown
    seen = weights[sum(table[0] for table in tables)]
    p = sum(w for w in weights.values() if w <= seen) / sum(weights.values())
    assert exact_stratified_p(np.array(tables)) == pytest.approx(float(p), rel=1e-9)


@given(st.lists(COUNTS, min_size=1, max_size=3))
def test_swapping_the_methods_keeps_p(tables):
    tables = np.array(tables)
    swapped = tables[:, [2, 3, 0, 1]]
    assert exact_stratified_p(tables) == pytest.approx(exact_stratified_p(swapped), rel=1e-9)


def test_negative_counts_are_refused():
    with pytest.raises(DataError, match="none negative"):
        exact_stratified_p(np.array([[1, -1, 2, 2]]))
