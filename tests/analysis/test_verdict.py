"""The three-way verdict: its rule, its edges, and that a wrong one is as rare as promised."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from kit.analysis.verdict import (
    ratio_verdict,
    verdict,
    verdict_with_equivalence,
    verdict_with_test,
)
from kit.errors import DataError

LIMITS = st.floats(-5, 5, allow_nan=False)


@pytest.mark.parametrize(
    ("lower", "upper", "expected"),
    [
        (0.1, 0.9, "different"),
        (-0.9, -0.1, "different"),
        (-0.3, 0.4, "same within the SDM"),
        (0.1, 0.3, "same within the SDM"),  # not zero, and too small to matter
        (-0.2, 0.5, "cannot tell"),  # the limit touches the SDM: not inside
        (0.0, 0.9, "cannot tell"),  # the limit touches zero: not excluded
        (-math.inf, math.inf, "cannot tell"),
        (math.nan, 0.2, "cannot tell"),
    ],
)
def test_rule(lower, upper, expected):
    assert verdict(lower, upper, 0.5) == expected


@given(LIMITS, LIMITS, st.floats(0.01, 3))
def test_swapping_the_methods_keeps_the_verdict(one, other, sdm):
    lower, upper = sorted((one, other))
    assert verdict(lower, upper, sdm) == verdict(-upper, -lower, sdm)


@given(LIMITS, LIMITS, st.floats(0.01, 3))
def test_a_true_verdict_whenever_the_interval_holds_the_truth(one, other, sdm):
    lower, upper = sorted((one, other))
    for truth in (lower, (lower + upper) / 2, upper):
        said = verdict(lower, upper, sdm)
        assert said != "different" or truth != 0
        assert said != "same within the SDM" or abs(truth) < sdm


@given(st.floats(0.1, 5), st.floats(0.1, 5), st.floats(1.05, 3))
def test_ratios_read_the_same_both_ways_up(one, other, sdm):
    lower, upper = sorted((one, other))
    edges = [1.0, sdm, 1 / sdm]  # exactly on an edge, rounding of 1/x may fall on either side
    assume(all(abs(limit - edge) > 1e-9 for limit in (lower, upper) for edge in edges))
    assert ratio_verdict(lower, upper, sdm) == ratio_verdict(1 / upper, 1 / lower, sdm)


def test_equivalence_by_its_own_interval():
    """The 90 % interval decides "the same", the 95 % one "different"; neither borrows."""
    assert verdict_with_equivalence((-0.6, 0.6), (-0.45, 0.45), 0.5) == "same within the SDM"
    assert verdict_with_equivalence((0.1, 0.9), (0.2, 0.8), 0.5) == "different"
    assert verdict_with_equivalence((-0.1, 0.9), (0.05, 0.8), 0.5) == "cannot tell"
    assert verdict_with_equivalence((0.05, 0.45), (0.1, 0.4), 0.5) == "same within the SDM"


@given(st.floats(-2, 2), st.floats(0.01, 3), st.floats(0.5, 0.99), st.floats(0.05, 2))
def test_equivalence_only_ever_adds_the_same(middle, reach, share, sdm):
    outer = (middle - reach, middle + reach)
    inner = (middle - share * reach, middle + share * reach)
    plain, wider = verdict(*outer, sdm), verdict_with_equivalence(outer, inner, sdm)
    assert wider in (plain, "same within the SDM")


def test_an_exact_test_can_only_take_a_difference_back():
    assert verdict_with_test(0.1, 0.9, 0.03, 0.5) == "different"
    assert verdict_with_test(0.1, 0.9, 0.06, 0.5) == "cannot tell"
    assert verdict_with_test(0.1, 0.9, math.nan, 0.5) == "cannot tell"
    assert verdict_with_test(0.1, 0.3, 0.9, 0.5) == "same within the SDM"


def test_a_ratio_down_to_zero_or_up_to_infinity_is_allowed():
    assert ratio_verdict(0.0, 0.8, 1.5) == "different"
    assert ratio_verdict(0.0, math.inf, 1.5) == "cannot tell"


@pytest.mark.parametrize("sdm", [0, -1, math.nan, math.inf])
def test_a_smallest_difference_that_cannot_be_is_refused(sdm):
    with pytest.raises(DataError, match="positive"):
        verdict(0, 1, sdm)


def test_a_ratio_of_one_or_less_is_refused():
    with pytest.raises(DataError, match="above 1"):
        ratio_verdict(0.5, 2, 1.0)


def test_an_interval_that_runs_backwards_is_refused():
    with pytest.raises(DataError, match="backwards"):
        verdict(1, 0, 0.5)


@pytest.mark.parametrize("truth", [0.0, 0.5])
def test_a_wrong_verdict_on_one_pair_is_as_rare_as_promised(truth):
    """20,000 pairs of ten normal shots (seed 11): at zero and at the SDM, at most 5 % wrong."""
    rng = np.random.default_rng(11)
    n, sd, sdm = 10, 0.2, 0.5
    a, b = rng.normal(truth, sd, (20_000, n)), rng.normal(0, sd, (20_000, n))
    estimate = a.mean(1) - b.mean(1)
    se = np.sqrt((a.var(1, ddof=1) + b.var(1, ddof=1)) / n)
    reach = stats.t.isf(0.025, 2 * n - 2) * se
    said = [verdict(e - r, e + r, sdm) for e, r in zip(estimate, reach, strict=True)]
    wrong = np.mean([s == ("different" if truth == 0 else "same within the SDM") for s in said])
    assert wrong <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / 20_000)
