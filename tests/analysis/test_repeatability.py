"""SDs and their ratios, against textbook values, R, and simulated truth."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from kit.analysis.repeatability import method_spread, spread_ratios, spread_test
from kit.analysis.spread_likelihood import likelihood_ratio_test
from kit.errors import DataError, ModelError
from tests.analysis.reference import data, values

# Evenly spread normal quantiles have less kurtosis than normal shots: no correction, δ = 1.
EVEN = stats.norm.ppf((np.arange(10) + 0.5) / 10)


def blocks(k, b, sessions, rng, sd, block_sd=0.0):
    shots = rng.normal(size=(b, k)) * sd + rng.normal(0, block_sd, (b, 1))
    return pd.DataFrame(
        {
            "method": np.tile([f"m{i}" for i in range(k)], b),
            "block": np.repeat([f"b{i:03}" for i in range(b)], k),
            "session": np.repeat([f"s{i * sessions // b}" for i in range(b)], k),
            "ey_pct": 20 + shots.ravel(),
        }
    )


def test_without_blocks_it_is_the_textbook_interval():
    """Ten shots: 0.69 to 1.83 times the SD (chi-square on 9 df; tabled in any textbook)."""
    table = pd.DataFrame({"method": "A", "ey_pct": 20 + EVEN})
    row = method_spread(table).iloc[0]
    assert (row["n"], row["df"]) == (10, pytest.approx(9))
    assert row["sd"] == pytest.approx(np.std(EVEN, ddof=1))
    assert row["lower"] / row["sd"] == pytest.approx(0.69, abs=0.005)
    assert row["upper"] / row["sd"] == pytest.approx(1.83, abs=0.005)


@pytest.mark.parametrize("name", ["esp", "plantgrowth", "insectsprays"])
def test_without_blocks_the_sds_are_the_sample_sds(name):
    """tests/reference/hetero: group SDs (R 4.2)."""
    case = values(f"hetero/het_{name}")
    table = data(case).rename(columns={case["group"]: "method", case["response"]: "y"})
    spread = method_spread(table, "y").set_index("method")["sd"]
    for method, sd in case["tests"]["group_sd"].items():
        assert spread[method] == pytest.approx(sd, rel=1e-8)


def test_without_correction_it_is_the_f_test():
    """NIST/SEMATECH 1.3.5.9 form: F = s₁²/s₂² with limits F(α/2), F(1 − α/2); here by scipy."""
    table = pd.DataFrame({"method": np.repeat(["A", "B"], 10), "ey_pct": [*EVEN, *(1.6 * EVEN)]})
    row = spread_ratios(table).iloc[0]
    assert row["ratio"] == pytest.approx(1 / 1.6)
    f = 1 / 1.6**2
    assert row["p"] == pytest.approx(2 * stats.f.cdf(f, 9, 9))
    limits = np.sqrt(f / stats.f.isf([0.025, 0.975], 9, 9))
    assert (row["lower"], row["upper"]) == pytest.approx(tuple(limits))
    bartlett = stats.bartlett(EVEN, 1.6 * EVEN)
    assert spread_test(table).p == pytest.approx(bartlett.pvalue)


def test_the_nist_gear_data_give_the_published_bartlett_for_normal_shots():
    """NIST/SEMATECH 1.3.5.7: Bartlett 20.786 on ten batches of gears; ours is it times δ."""
    gear = """1.006 0.996 0.998 1.000 0.992 0.993 1.002 0.999 0.994 1.000
    0.998 1.006 1.000 1.002 0.997 0.998 0.996 1.000 1.006 0.988
    0.991 0.987 0.997 0.999 0.995 0.994 1.000 0.999 0.996 0.996
    1.005 1.002 0.994 1.000 0.995 0.994 0.998 0.996 1.002 0.996
    0.998 0.998 0.982 0.990 1.002 0.984 0.996 0.993 0.980 0.996
    1.009 1.013 1.009 0.997 0.988 1.002 0.995 0.998 0.981 0.996
    0.990 1.004 0.996 1.001 0.998 1.000 1.018 1.010 0.996 1.002
    0.998 1.000 1.006 1.000 1.002 0.996 0.998 0.996 1.002 1.006
    1.002 0.998 0.996 0.995 0.996 1.004 1.004 0.998 0.999 0.991
    0.991 0.995 0.984 0.994 0.997 0.997 0.991 0.998 1.004 0.997"""
    shots = np.array(gear.split(), dtype=float).reshape(10, 10)
    table = pd.DataFrame({"method": np.repeat(np.arange(10), 10), "ey_pct": shots.ravel()})
    delta = method_spread(table)["df"][0] / 9
    assert delta <= 1
    assert spread_test(table).statistic / delta == pytest.approx(20.786, abs=0.001)


def test_another_estimator_lies_within_the_intervals():
    """tests/reference/hetero: REML with an SD for each method (R 4.2)."""
    for name in ("esp", "esp_missing"):
        case = values(f"hetero/het_{name}")
        table = data(case).rename(columns={"ey": "ey_pct"})
        spread = method_spread(table, random=["session", "block"]).set_index("method")
        likelihood = pd.Series(case["reml_heteroscedastic"]["sd_resid"])
        assert spread["sd"].rank().tolist() == likelihood.rank().tolist()
        assert (spread["lower"] < likelihood).all()
        assert (likelihood < spread["upper"]).all()


def test_likelihood_version_against_r():
    """tests/reference/hetero: likelihood-ratio statistic, its p, and the SDs (R 4.2)."""
    for name in ("esp", "esp_missing", "plantgrowth"):
        case = values(f"hetero/het_{name}")
        table = data(case).rename(columns={case["group"]: "method"})
        result = likelihood_ratio_test(
            table, np.random.default_rng(1), case["response"], case["random"] or [], 99
        )
        assert result.statistic == pytest.approx(case["lrt"]["chisq"], abs=1e-5)
        assert result.p == pytest.approx(case["lrt"]["p"], abs=1e-6)
        sd = list(case["reml_heteroscedastic"]["sd_resid"].values())
        assert result.sd["sd"].to_numpy() == pytest.approx(sd, rel=1e-4)
        assert 0.01 <= result.p_simulated <= 1


def test_truth_comes_back_from_many_blocks():
    """400 blocks (seed 4), SDs 0.3, 0.45, 0.9 under block SD 0.5: within 4 standard errors."""
    truth = np.array([0.3, 0.45, 0.9])
    table = blocks(3, 400, 8, np.random.default_rng(4), truth, block_sd=0.5)
    spread = method_spread(table, random=["session", "block"])
    off = np.log(spread["sd"].to_numpy() / truth)
    assert (np.abs(off) < 4 / np.sqrt(2 * spread["df"].to_numpy()) + 0.05).all()
    ratios = spread_ratios(table, random=["session", "block"])
    assert (ratios["p_adjusted"] < 0.001).all()


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.01, 100), st.floats(-50, 50))
def test_scale_shift_and_order_of_rows_do_not_matter(seed, scale, shift):
    rng = np.random.default_rng(seed)
    table = blocks(3, 8, 2, rng, 0.4, 0.2)
    changed = table.assign(ey_pct=table["ey_pct"] * scale + shift).sample(frac=1, random_state=seed)
    plain = spread_ratios(table, random=["session", "block"])
    moved = spread_ratios(changed, random=["session", "block"])
    assert moved["ratio"].to_numpy() == pytest.approx(plain["ratio"].to_numpy(), rel=1e-4)
    assert moved["p"].to_numpy() == pytest.approx(plain["p"].to_numpy(), abs=1e-4)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000))
def test_interval_and_p_say_the_same(seed):
    rng = np.random.default_rng(seed)
    table = blocks(2, 9, 3, rng, [0.3, 0.9], 0.2)
    try:
        row = spread_ratios(table, random=["session", "block"]).iloc[0]
    except ModelError as refusal:
        assert "Within these blocks" in str(refusal)
        return
    assert (row["p"] < 0.05) == (not row["lower"] <= 1 <= row["upper"])
    assert row["lower"] < row["ratio"] < row["upper"]


def test_two_methods_whose_blocks_hide_the_spread():
    """Residuals of two methods in blocks that differ hugely are mirror images: said in words."""
    table = blocks(2, 8, 1, np.random.default_rng(2), 0.1, block_sd=40.0)
    with pytest.raises(ModelError, match="cannot be told from that of another"):
        spread_ratios(table, random=["block"])


def test_a_method_that_never_varied_is_shown_but_not_judged():
    table = pd.DataFrame(
        {"method": np.repeat(["A", "B", "C"], 10), "ey_pct": [*[20.0] * 10, *EVEN, *(2 * EVEN)]}
    )
    spread = method_spread(table).set_index("method")
    assert spread.loc["A", ["sd", "lower", "upper"]].tolist() == [0, 0, np.inf]
    ratios = spread_ratios(table).set_index(["a", "b"])
    assert ratios.loc[("A", "B"), ["lower", "upper", "p"]].tolist() == [0, np.inf, 1]
    assert ratios.loc[("B", "C"), "upper"] < np.inf


def test_degenerate_tables_are_answered_in_words():
    one = pd.DataFrame({"method": list("ABC"), "ey_pct": [19.0, 20.0, 21.0]})
    with pytest.raises(ModelError, match="No method has two usable shots"):
        method_spread(one)
    equal = pd.DataFrame({"method": list("AABB"), "ey_pct": [20.0] * 4})
    with pytest.raises(ModelError, match="Shots are never all equal"):
        spread_ratios(equal)
    alone = pd.DataFrame({"method": list("AAAB"), "ey_pct": [19.0, 20.0, 21.0, 20.0]})
    assert method_spread(alone)["method"].tolist() == ["A"]
    with pytest.raises(ModelError, match="Only one method"):
        spread_ratios(alone)
    with pytest.raises(ModelError, match="one usable shot"):
        likelihood_ratio_test(alone, np.random.default_rng(1))
    with pytest.raises(DataError, match="infinite"):
        method_spread(alone.assign(ey_pct=[19.0, np.inf, 21.0, 20.0]))
    with pytest.raises(DataError, match="no column “tds_pct”"):
        method_spread(alone, "tds_pct")


def test_a_small_run_of_the_benchmark_holds_its_level():
    """200 null trials, 4 methods in 12 blocks, long tails (seed 6): 5 % within 3 MC errors."""
    rng = np.random.default_rng(6)
    alarms = 0
    for _ in range(200):
        table = blocks(4, 12, 3, rng, 0.45)
        table["ey_pct"] = 20 + 0.35 * rng.standard_t(5, 48)
        alarms += spread_test(table, random=["session", "block"]).p < 0.05
    assert alarms / 200 <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 200)
