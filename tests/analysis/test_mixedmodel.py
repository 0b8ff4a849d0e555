"""The fit itself: closed forms on balanced data, invariances, boundaries, certificate."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from kit.analysis.contrasts import all_pairs, marginal_means
from kit.analysis.mixedmodel import fit_mixed_model

SEEDS = st.integers(0, 2**32 - 1)
FEW = settings(max_examples=12, deadline=None)


def trial(seed, methods=4, blocks=6, sessions=2, block_sd=0.3, lost=0):
    """An invented trial: complete blocks nested in sessions, some shots lost."""
    rng = np.random.default_rng(seed)
    rows = [(f"m{m}", f"b{b}", f"s{b * sessions // blocks}", 36 + rng.normal(0, 0.5))
            for b in range(blocks) for m in range(methods)]  # fmt: skip
    table = pd.DataFrame(rows, columns=["method", "block", "session", "beverage_g"])
    block = rng.normal(0, block_sd, blocks)[table["block"].str[1:].astype(int)]
    table["ey_pct"] = 19.5 + block + 0.1 * table["beverage_g"] + rng.normal(0, 0.45, len(table))
    kept = np.sort(rng.permutation(len(table))[: len(table) - lost])
    return table.iloc[kept].reset_index(drop=True)


@FEW
@given(seed=SEEDS, block_sd=st.sampled_from([0.0, 0.2, 1.0]))
def test_complete_blocks_closed_form(seed, block_sd):
    """Anderson & Bancroft (1952): mean squares give REML, pooled where the block one is smaller."""
    k, b = 4, 6
    table = trial(seed, k, b, block_sd=block_sd)
    y = table["ey_pct"].to_numpy().reshape(b, k)
    fit = fit_mixed_model(table, "ey_pct", "method", ["block"])
    rows = y - y.mean(axis=0)
    ms_block = k * np.sum(rows.mean(axis=1) ** 2) / (b - 1)
    sse = np.sum((rows - rows.mean(axis=1, keepdims=True)) ** 2)
    ms_error = sse / ((b - 1) * (k - 1))
    pair = all_pairs(fit, "method", adjust="none").iloc[0]
    if ms_block > ms_error:
        expected = [(ms_block - ms_error) / k, ms_error]
        assert pair["df"] == pytest.approx((b - 1) * (k - 1), rel=1e-7)
        assert pair["se"] == pytest.approx(np.sqrt(2 * ms_error / b), rel=1e-9)
    else:
        expected = [0.0, (ms_block * (b - 1) + sse) / ((b - 1) * k)]
        assert fit.at_boundary
        assert fit.variance_components["block"] == 0.0
    found = fit.variance_components.to_numpy()
    assert found == pytest.approx(expected, rel=1e-8, abs=1e-12)


@FEW
@given(seed=SEEDS)
def test_blocks_as_fixed_effects_are_least_squares(seed):
    """random=[]: the t tests of ordinary least squares (numpy lstsq, scipy t)."""
    table = trial(seed, lost=3)
    fit = fit_mixed_model(table, "ey_pct", "method + block")
    dummies = [pd.get_dummies(table[c], dtype=float).to_numpy()[:, 1:] for c in ("method", "block")]
    x = np.hstack([np.ones((len(table), 1)), *dummies])
    y = table["ey_pct"].to_numpy()
    beta, rss, *_ = np.linalg.lstsq(x, y)
    df = len(y) - x.shape[1]
    se = np.sqrt(np.diag(np.linalg.inv(x.T @ x)) * rss[0] / df)
    for method in ("kenward-roger", "satterthwaite"):
        found = fit.coefficients(df_method=method)
        assert found["estimate"].to_numpy() == pytest.approx(beta, rel=1e-8)
        assert found["se"].to_numpy() == pytest.approx(se, rel=1e-8)
        assert found["df"].to_numpy() == pytest.approx(df, rel=1e-8)
        p = 2 * stats.t.sf(np.abs(beta / se), df)
        assert found["p"].to_numpy() == pytest.approx(p, abs=1e-9)


def assert_same_pairs(one, other, flip=1.0, scale=1.0):
    """Tables of pairs agree; estimates and SEs of ``other`` are ``scale`` times as large."""
    assert other["estimate"].to_numpy() == pytest.approx(
        scale * flip * one["estimate"].to_numpy(), rel=1e-7, abs=1e-9 * scale
    )
    assert other["se"].to_numpy() == pytest.approx(scale * one["se"].to_numpy(), rel=1e-7)
    assert other["df"].to_numpy() == pytest.approx(one["df"].to_numpy(), rel=1e-6)
    assert other["p_adjusted"].to_numpy() == pytest.approx(one["p_adjusted"].to_numpy(), abs=1e-8)


def pairs_of(table, **changes):
    fit = fit_mixed_model(table, "ey_pct", "method + beverage_g", ["session", "block"], **changes)
    return all_pairs(fit, "method")


@FEW
@given(seed=SEEDS, shift=st.floats(-1e6, 1e6), power=st.integers(-6, 6))
def test_shift_and_unit_of_the_outcome(seed, shift, power):
    table = trial(seed, lost=4)
    other = table.assign(ey_pct=(table["ey_pct"] + shift) * 10.0**power)
    assert_same_pairs(pairs_of(table), pairs_of(other), scale=10.0**power)


@FEW
@given(seed=SEEDS, shift=st.floats(-1e4, 1e4), power=st.integers(-3, 3))
def test_shift_and_unit_of_a_covariate(seed, shift, power):
    table = trial(seed, lost=4)
    other = table.assign(beverage_g=(table["beverage_g"] + shift) * 10.0**power)
    assert_same_pairs(pairs_of(table), pairs_of(other))


@FEW
@given(seed=SEEDS)
def test_order_of_rows_and_names_of_levels(seed):
    table = trial(seed, lost=4)
    rng = np.random.default_rng(seed)
    other = table.sample(frac=1, random_state=rng).reset_index(drop=True)
    names = {"m0": "None", "m1": "a b", "m2": "if: else", "m3": "[x] - y"}
    other["method"] = pd.Categorical(other["method"].map(names), categories=list(names.values()))
    other["block"] = "x" + other["block"]
    found = pairs_of(other)
    assert_same_pairs(pairs_of(table), found)
    assert list(found["a"][:3]) == ["None"] * 3


def test_columns_may_be_keywords():
    table = trial(3).rename(columns={"method": "class", "block": "lambda", "ey_pct": "yield"})
    table["None"] = table["session"]
    fit = fit_mixed_model(table, "yield", "class", ["None", "lambda"])
    same = fit_mixed_model(trial(3), "ey_pct", "method", ["session", "block"])
    assert fit.reml_criterion == pytest.approx(same.reml_criterion, abs=1e-10)
    assert list(fit.coefficients()["term"])[1] == "class[m1]"
    assert list(marginal_means(fit, "class")["level"]) == ["m0", "m1", "m2", "m3"]


@FEW
@given(seed=SEEDS)
def test_one_group_of_residuals_is_the_plain_model(seed):
    """Two ways to compute: cross-products, and the n x n matrix with residual_by."""
    table = trial(seed, lost=3).assign(everything="x")
    plain = fit_mixed_model(table, "ey_pct", "method", ["session", "block"])
    grouped = fit_mixed_model(table, "ey_pct", "method", ["session", "block"], "everything")
    assert grouped.reml_criterion == pytest.approx(plain.reml_criterion, abs=1e-8)
    for method in ("kenward-roger", "satterthwaite"):
        one = all_pairs(plain, "method", df_method=method)
        assert_same_pairs(one, all_pairs(grouped, "method", df_method=method))
        assert plain.terms(method).iloc[0, 1:].to_numpy(float) == pytest.approx(
            grouped.terms(method).iloc[0, 1:].to_numpy(float), rel=1e-5
        )


def test_scale_factor_is_one_at_exactly_two_df():
    """A whole-plot factor with three levels on two denominator df: the published formula is 0/0.

    With balanced data the test is the exact F of whole-plot means (Kenward & Roger 1997,
    section 4, recover it by construction).
    """
    rng = np.random.default_rng(8)
    rows = [(f"w{i}", ["low", "mid", "high"][i % 3], j) for i in range(5) for j in range(4)]
    rows += [("w5", "high", j) for j in range(4)]
    table = pd.DataFrame([r for r in rows if r[0] not in ("w3",)], columns=["plot", "heat", "shot"])
    plot = table["plot"].astype("category").cat.codes.to_numpy()
    table["ey_pct"] = rng.normal(0, 2, 5)[plot] + rng.normal(0, 0.1, len(table))
    test = fit_mixed_model(table, "ey_pct", "heat", ["plot"]).terms().iloc[0]
    means = table.groupby(["heat", "plot"])["ey_pct"].mean()
    expected = stats.f_oneway(*(means[h].to_numpy() for h in ("low", "mid", "high")))
    assert test["den_df"] == pytest.approx(2, abs=1e-5)
    assert test["F"] == pytest.approx(expected.statistic, rel=1e-6)
    assert test["p"] == pytest.approx(expected.pvalue, rel=1e-5)


def test_certificate_in_words():
    fit = fit_mixed_model(trial(1, block_sd=0.0), "ey_pct", "method", ["block"])
    said = fit.certificate.words()
    assert fit.certificate.converged
    assert "3 of 3 starts" in said
    assert ("The variance of block is estimated as zero" in said) == fit.at_boundary
