"""Fault rates, differences, odds and counts, against R, published examples and enumeration."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from kit.analysis.defects import (
    fault_differences,
    fault_model,
    fault_odds,
    fault_rates,
    newcombe_interval,
    wilson_interval,
    zero_of,
)
from kit.analysis.exact import exact_sum_p
from kit.analysis.fault_counts import count_means, count_ratios
from kit.analysis.ordinal import fit_ordinal
from kit.errors import DataError, ModelError
from tests.analysis.reference import data, values


def shots(**faulty_and_n):
    return pd.DataFrame(
        [
            {"method": name, "faults": int(i < faulty)}
            for name, (faulty, n) in faulty_and_n.items()
            for i in range(n)
        ]
    )


@pytest.mark.parametrize("case", values("binary/two_by_two")["cases"])
def test_wilson_and_newcombe_against_r(case):
    """tests/reference/binary: Wilson 1927 and Newcombe 1998 method 10, no correction (R 4.2)."""
    x1, n1, x2, n2 = (case[key] for key in ("x1", "n1", "x2", "n2"))
    assert wilson_interval(x1, n1) == pytest.approx(case["wilson1"], rel=1e-8, abs=1e-12)
    assert wilson_interval(x2, n2) == pytest.approx(case["wilson2"], rel=1e-8, abs=1e-12)
    found = newcombe_interval(x1, n1, x2, n2)
    assert found == pytest.approx(case["newcombe10"], rel=1e-8, abs=1e-12)


def test_published_wilson_interval():
    """NIST/SEMATECH 7.2.4.1: 4 of 20, Wilson 95 % 0.081 to 0.416."""
    assert wilson_interval(4, 20) == pytest.approx((0.081, 0.416), abs=5e-4)


def test_none_of_ten():
    """Zero of ten still allows 26 % (exact, one-sided 95 %); the rule of three for large n."""
    assert zero_of(10) == pytest.approx(0.2589, abs=5e-5)
    assert zero_of(29) < 0.10 < zero_of(28)
    assert zero_of(3000) == pytest.approx(3 / 3000, rel=0.002)


def test_rates_table():
    table = fault_rates(shots(A=(0, 10), B=(10, 10), C=(3, 10)))
    assert table["rate"].tolist() == [0, 1, 0.3]
    assert table["lower"][0] == 0
    assert table["upper"][1] == 1
    assert table["upper"][0] == pytest.approx(1 - table["lower"][1])


def test_pairs_are_fisher_with_holm():
    """tests/reference/binary/r_by_2.json: pairwise fisher.test and Holm (R 4.2)."""
    case = values("binary/r_by_2")
    table = shots(**{name: (x, x + y) for name, (x, y) in case["table"].items()})
    found = fault_differences(table).set_index(["a", "b"])
    for pair in case["pairs"]:
        row = found.loc[(pair["a"], pair["b"])]
        assert row["p"] == pytest.approx(pair["p"], rel=1e-8)
        assert row["p_adjusted"] == pytest.approx(pair["p_holm"], rel=1e-8)


def test_one_shot_a_block_is_mcnemar():
    """tests/reference/binary/mcnemar.json: exact McNemar (R 4.2)."""
    case = values("binary/mcnemar")
    kinds = {"both": (1, 1), "only_a": (1, 0), "only_b": (0, 1), "neither": (0, 0)}
    pairs = [kinds[kind] for kind, count in case["table"].items() for _ in range(count)]
    table = pd.DataFrame(
        {
            "method": ["A", "B"] * len(pairs),
            "block": np.repeat(np.arange(len(pairs)), 2),
            "faults": np.ravel(pairs),
        }
    )
    row = fault_differences(table, strata="block").iloc[0]
    assert row["p"] == pytest.approx(case["exact_p"], rel=1e-10)


@given(st.integers(0, 8), st.integers(0, 8))
def test_swapping_methods_turns_the_interval_round(x, y):
    one, other = newcombe_interval(x, 8, y, 8), newcombe_interval(y, 8, x, 8)
    assert one == pytest.approx((-other[1], -other[0]))
    assert one[0] <= (x - y) / 8 <= one[1]


@given(
    st.lists(st.integers(0, 4), min_size=2, max_size=7),
    st.lists(st.integers(0, 4), min_size=2, max_size=6),
    st.data(),
)
def test_count_test_by_enumeration(first, second, draw):
    """Every way to deal the labels within two strata, counted one by one."""
    strata = np.array([0] * len(first) + [1] * len(second))
    counts = np.array(first + second)
    sizes = [draw.draw(st.integers(1, len(part) - 1)) for part in (first, second)]
    is_a = np.concatenate(
        [np.arange(len(p)) < s for p, s in zip((first, second), sizes, strict=True)]
    )
    sums = [
        sum(one) + sum(other)
        for one in combinations(first, sizes[0])
        for other in combinations(second, sizes[1])
    ]
    far = np.abs(np.array(sums) - np.mean(sums))
    expected = np.mean(far >= abs(counts[is_a].sum() - np.mean(sums)) - 1e-9)
    assert exact_sum_p(counts, is_a, strata) == pytest.approx(expected)


def test_logistic_mixed_model_against_adaptive_quadrature():
    """tests/reference/binary/glmm_bacteria.json: glmer with 50 nodes (R 4.2, MASS bacteria)."""
    case = values("binary/glmm_bacteria")
    fit = fit_ordinal(data(case), "y01", ["trt", "late"], "ID")
    exact = case["agq50"]
    effects = [row["estimate"] for row in exact["fixed"]]
    se = [row["se"] for row in exact["fixed"]]
    assert fit.thresholds["estimate"][0] == pytest.approx(-effects[0], abs=1e-3)
    assert fit.effects["estimate"].to_numpy() == pytest.approx(effects[1:], abs=1e-3)
    assert fit.effects["se"].to_numpy() == pytest.approx(se[1:], rel=2e-3)
    assert fit.taster_sd**2 == pytest.approx(exact["var"], rel=2e-3)


def test_logistic_mixed_model_of_grouped_counts():
    """tests/reference/binary/glmm_cbpp.json: the same, counts unrolled into shots (lme4 cbpp)."""
    case = values("binary/glmm_cbpp")
    rows = [
        {"method": row.period, "herd": row.herd, "faults": int(i < row.incidence)}
        for row in data(case).itertuples()
        for i in range(row.size)
    ]
    fit = fault_model(pd.DataFrame(rows), "herd")
    effects = [row["estimate"] for row in case["agq50"]["fixed"]]
    assert fit.effects["estimate"].to_numpy() == pytest.approx(effects[1:], abs=1e-3)
    assert fit.taster_sd**2 == pytest.approx(case["agq50"]["var"], rel=2e-3)


def test_separation_is_refused_and_its_substitute_stands():
    table = shots(A=(0, 8), B=(6, 8)).assign(block=np.tile(np.arange(8), 2))
    with pytest.raises(ModelError, match="never showed a fault"):
        fault_model(table, "block")
    row = fault_odds(table, strata="block").iloc[0]
    assert row["odds_ratio"] == 0
    assert row["upper"] < 1


def test_all_faults_and_no_faults():
    for faulty in (0, 8):
        table = shots(A=(faulty, 8), B=(faulty, 8))
        row = fault_differences(table).iloc[0]
        assert (row["difference"], row["p"]) == (0, 1)
        assert row["lower"] < -0.2
        assert np.isnan(fault_odds(table)["odds_ratio"][0])
        with pytest.raises(ModelError, match="showed a fault"):
            fault_model(table.assign(block=np.tile(np.arange(8), 2)), "block")
    row = count_ratios(shots(A=(0, 8), B=(0, 8))).iloc[0]
    assert np.isnan(row["ratio"])
    assert (row["lower"], row["upper"], row["p"]) == (0, np.inf, 1)


def test_count_limits_are_garwood_without_dispersion():
    """Garwood (1936): 5 seen, exact 95 % limits 1.62 to 11.67; none seen, 3.69."""
    table = shots(A=(5, 10), B=(0, 10))
    means = count_means(table)
    assert means["dispersion"][0] == 1
    assert (10 * means.loc[0, ["lower", "upper"]]).tolist() == pytest.approx(
        [1.62, 11.67], abs=0.005
    )
    assert 10 * means["upper"][1] == pytest.approx(3.69, abs=0.005)


def test_count_ratio_limits_are_binomial():
    """12 faults against 4 in as many shots: limits from the exact binomial of 12 in 16 (scipy)."""
    counts = [*[2, 1, 1, 1] * 3, *[1] * 4, *[0] * 8]
    table = pd.DataFrame(
        {"method": np.repeat(["A", "B"], 12), "faults": [1] * 12 + [1] * 4 + [0] * 8}
    )
    row = count_ratios(table).iloc[0]
    limits = stats.binomtest(12, 16).proportion_ci(0.95)
    assert row["ratio"] == 3
    assert row["lower"] == pytest.approx(limits.low / (1 - limits.low))
    assert row["upper"] == pytest.approx(limits.high / (1 - limits.high))
    bunched = pd.DataFrame(
        {"method": np.repeat(["A", "B"], 12), "faults": [12, *[0] * 11, *counts[12:]]}
    )
    assert count_ratios(bunched)["lower"][0] < row["lower"]


def test_permutation_keeps_its_level_when_faults_come_in_bunches():
    """500 null trials of bunched counts (seed 9): at most 5 % below 0.05, within 3 MC errors."""
    rng = np.random.default_rng(9)
    block, is_a = np.repeat(np.arange(10), 2), np.tile([True, False], 10)
    p = [exact_sum_p(rng.negative_binomial(0.4, 0.3, 20), is_a, block) for _ in range(500)]
    assert np.mean(np.array(p) < 0.05) <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 500)


@pytest.mark.parametrize("wrong", [0.5, -1])
def test_counts_that_cannot_be(wrong):
    with pytest.raises(DataError, match="whole numbers"):
        fault_rates(pd.DataFrame({"method": ["A", "B"], "faults": [1, wrong]}))


def test_impossible_counts_are_refused():
    with pytest.raises(DataError, match="cannot be"):
        wilson_interval(5, 4)
