"""Triangle, duo-trio and paired tests, against exact tables and Thurstonian values."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.analysis.discrimination import (
    GUESSING,
    d_prime,
    discrimination_test,
    exact_interval,
    maximum_correct,
    minimum_correct,
    preference_test,
    share_correct,
    similarity_p,
)
from kit.errors import DataError
from tests.analysis.reference import values

NAMES = {"triangle": "triangle", "duo_trio": "duo-trio", "two_afc": "paired"}


@pytest.mark.parametrize(
    ("table", "guess", "share_of_alpha"),
    [
        ("triangle", 1 / 3, 1),
        ("duo_trio_or_paired_one_sided", 1 / 2, 1),
        ("paired_two_sided", 1 / 2, 1 / 2),
    ],
)
def test_minimum_correct(table, guess, share_of_alpha):
    """tests/reference/sensory: the exact rule of ISO 4120, ISO 10399 and ISO 5495."""
    for row in values("sensory/min_correct")[table]:
        for key, alpha in (("a05", 0.05), ("a01", 0.01), ("a001", 0.001)):
            assert minimum_correct(row["n"], guess, alpha * share_of_alpha) == row[key]


@pytest.mark.parametrize(
    ("n", "needed"), [(24, 13), (30, 15), (36, 18), (48, 22), (60, 27), (66, 29)]
)
def test_triangle_table(n, needed):
    """ISO 4120, table of minimum correct answers at 5 % (recomputed; printed table from memory)."""
    assert minimum_correct(n, 1 / 3) == needed


def test_too_few_tests_can_show_nothing():
    assert minimum_correct(2, 1 / 3) is None
    assert maximum_correct(3, 1 / 3, 0.2) is None


@pytest.mark.parametrize("row", values("sensory/psychometric")["pc_of_d"])
def test_share_correct(row):
    """tests/reference/sensory: Thurstonian model by independent quadrature (R 4.2)."""
    for key, test in NAMES.items():
        assert share_correct(test, row["d"]) == pytest.approx(row[key], abs=1e-7)


@pytest.mark.parametrize("row", values("sensory/psychometric")["d_of_pc"])
def test_d_prime(row):
    for key, test in NAMES.items():
        assert d_prime(test, row["pc"]) == pytest.approx(row[key], abs=1e-7)


@pytest.mark.parametrize("row", values("sensory/psychometric")["dprime_se"])
def test_triangle_reading(row):
    result = discrimination_test(row["correct"], row["n"], "triangle")
    assert result.d_prime == pytest.approx(row["d"], abs=1e-7)
    assert result.d_prime_se == pytest.approx(row["se"], rel=1e-6)
    assert result.p_difference == pytest.approx(row["p_value_triangle"], rel=1e-9)
    pd = row["pd_proportion_discriminators"]
    assert result.discriminators == pytest.approx(pd, rel=1e-12)


def test_exact_interval():
    """NIST/SEMATECH e-Handbook 7.2.4.1: 4 of 20, exact 90 % interval 0.0714 to 0.4010."""
    assert exact_interval(4, 20, 0.90) == pytest.approx((0.0714, 0.4010), abs=5e-5)


def test_paired_test_in_both_readings():
    """ISO 5495 style: 20 of 30 is the least that shows a difference one-sided at 5 %."""
    assert discrimination_test(20, 30, "paired").p_difference <= 0.05
    assert discrimination_test(19, 30, "paired").p_difference > 0.05
    assert preference_test(20, 30) == pytest.approx(2 * 0.0493685733526945, rel=1e-9)


def test_similarity_and_its_table_agree():
    most = maximum_correct(60, 1 / 3, 0.3)
    assert similarity_p(most, 60, "triangle", 0.3) <= 0.05
    assert similarity_p(most + 1, 60, "triangle", 0.3) > 0.05
    result = discrimination_test(most, 60, "triangle")
    assert result.most_discriminators <= 0.3


@given(st.sampled_from(sorted(GUESSING)), st.integers(1, 60), st.data())
def test_the_lower_limit_is_above_zero_just_where_a_difference_is_shown(test, n, draw):
    result = discrimination_test(draw.draw(st.integers(0, n)), n, test)
    assert (result.fewest_discriminators > 0) == (result.p_difference < 0.05)


def test_24_duo_trios_cannot_prove_that_nobody_can_tell():
    """Even exactly as many right as by guessing leaves room for a good third who can tell."""
    result = discrimination_test(12, 24, "duo-trio")
    assert result.d_prime == 0
    assert result.most_discriminators > 0.35


@given(st.sampled_from(sorted(GUESSING)), st.integers(1, 60), st.data())
def test_a_reading_hangs_together(test, n, draw):
    correct = draw.draw(st.integers(0, n))
    result = discrimination_test(correct, n, test)
    assert result.share_lower <= result.share <= result.share_upper
    assert 0 <= result.discriminators_lower <= result.discriminators <= 1
    assert result.discriminators <= result.most_discriminators <= result.discriminators_upper
    assert result.d_prime_lower <= result.d_prime <= result.d_prime_upper
    shown = result.needed is not None and correct >= result.needed
    assert shown == (result.p_difference <= 0.05 + 1e-12)


def test_everybody_right():
    result = discrimination_test(10, 10, "triangle")
    assert math.isinf(result.d_prime)
    assert math.isnan(result.d_prime_se)
    assert result.d_prime_lower > 2


def test_the_interval_covers():
    """Exact intervals hold 95 % for every true share (summed, not simulated)."""
    from scipy.stats import binom

    for n in (8, 24):
        limits = np.array([exact_interval(x, n) for x in range(n + 1)])
        for share in np.linspace(0.02, 0.98, 49):
            holds = (limits[:, 0] <= share) & (share <= limits[:, 1])
            assert binom.pmf(np.arange(n + 1), n, share)[holds].sum() >= 0.95


@pytest.mark.parametrize(("correct", "n"), [(5, 4), (-1, 4), (0, 0), (1.5, 4)])
def test_counts_that_cannot_be(correct, n):
    with pytest.raises(DataError, match="cannot be"):
        discrimination_test(correct, n, "triangle")


def test_an_unknown_test_is_named():
    with pytest.raises(DataError, match="not a taste test"):
        discrimination_test(1, 4, "tetrad")


def test_a_share_that_cannot_be():
    with pytest.raises(DataError, match="between 0 and 1"):
        similarity_p(1, 4, "triangle", 1.5)
