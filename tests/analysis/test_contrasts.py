"""Families of comparisons: independent recomputation and published rules."""

from functools import partial

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from kit.analysis.contrasts import (
    against_best,
    against_control,
    all_pairs,
    equivalence,
    factorial_effects,
    marginal_means,
    planned_contrasts,
)
from kit.analysis.distributions import multivariate_t_ppf, multivariate_t_upper_ppf
from kit.analysis.mixedmodel import fit_mixed_model
from kit.analysis.multiplicity import critical_values, holm_p
from tests.analysis.test_mixedmodel import trial


def one_way(means, n=8, seed=4):
    rng = np.random.default_rng(seed)
    rows = [(f"m{i}", m) for i, m in enumerate(means) for _ in range(n)]
    table = pd.DataFrame(rows, columns=["method", "ey_pct"])
    table["ey_pct"] += rng.normal(0, 0.45, len(table))
    return fit_mixed_model(table, "ey_pct", "method")


@pytest.mark.parametrize("higher", [True, False])
def test_with_the_best_in_the_balanced_case(higher):
    """Hsu (1984): D- = -(m_i - max_{j≠i} m_j - d s)^-, D+ = (m_i - max_{j≠i} m_j + d s)^+.

    d is the one-sided Dunnett value at correlation 1/2: 2.18 for 4 levels, 28 df (k − 1 = 3),
    from scipy's multivariate t by its own integration.
    """
    fit = one_way([19.4, 20.0, 19.9, 18.9])
    found = against_best(fit, "method", higher_is_better=higher)
    means = marginal_means(fit, "method")["estimate"].to_numpy()
    se = all_pairs(fit, "method")["se"][0]
    half = np.full((3, 3), 0.5) + 0.5 * np.eye(3)
    d = multivariate_t_upper_ppf(0.95, half, 28.0)
    box = stats.multivariate_t(shape=half, df=28, seed=1).cdf(np.full(3, d))
    assert box == pytest.approx(0.95, abs=2e-4)
    sign = 1 if higher else -1
    gap = np.array([sign * m - max(sign * np.delete(means, i)) for i, m in enumerate(means)])
    lower, upper = np.minimum(gap - d * se, 0), np.maximum(gap + d * se, 0)
    if not higher:
        lower, upper = -upper, -lower
    assert found["estimate"].to_numpy() == pytest.approx(sign * gap, abs=1e-9)
    assert found["lower"].to_numpy() == pytest.approx(lower, abs=1e-8)
    assert found["upper"].to_numpy() == pytest.approx(upper, abs=1e-8)
    assert list(found["may_be_best"]) == list(gap + d * se > 0)


def test_with_the_best_agrees_with_its_p_values():
    """A level is out at 5 % exactly when its p is at most .05, in unbalanced data too."""
    for seed in range(4):
        fit = fit_mixed_model(trial(seed, lost=5), "ey_pct", "method", ["session", "block"])
        found = against_best(fit, "method")
        assert list(found["may_be_best"]) == list(found["p_adjusted"] > 0.05)
        assert found["may_be_best"][found["estimate"].idxmax()]
        assert (found["lower"] <= 0).all()
        assert (found["upper"] >= 0).all()


def test_clear_winner_stands_alone():
    found = against_best(one_way([19.0, 19.1, 22.0]), "method").set_index("level")
    assert list(found["may_be_best"]) == [False, False, True]
    assert found.loc["m2", "lower"] == 0
    assert (found.loc[["m0", "m1"], "upper"] == 0).all()


def test_two_levels_need_no_adjustment():
    table = trial(5, methods=2)
    fit = fit_mixed_model(table, "ey_pct", "method", ["block"])
    plain = all_pairs(fit, "method", adjust="none").iloc[0]
    for found in (all_pairs(fit, "method"), against_control(fit, "method", "m1")):
        assert found["p_adjusted"][0] == pytest.approx(plain["p"], abs=1e-9)
        width = plain["upper"] - plain["lower"]
        assert found["upper"][0] - found["lower"][0] == pytest.approx(width, rel=1e-8)


def test_planned_contrasts_are_sums_of_means():
    fit = fit_mixed_model(trial(6, lost=3), "ey_pct", "method", ["session", "block"])
    weights = {"a": {"m0": -1, "m1": 1}, "b": {"m0": -0.5, "m1": -0.5, "m2": 0.5, "m3": 0.5}}
    found = planned_contrasts(fit, "method", weights).set_index("contrast")
    means = marginal_means(fit, "method").set_index("level")["estimate"]
    for name, row in weights.items():
        expected = sum(w * means[level] for level, w in row.items())
        assert found.loc[name, "estimate"] == pytest.approx(expected, abs=1e-9)
    pair = all_pairs(fit, "method", adjust="none").iloc[0]
    assert found.loc["a", "se"] == pytest.approx(pair["se"], rel=1e-10)
    assert found.loc["a", "df"] == pytest.approx(pair["df"], rel=1e-9)
    assert list(found["p_adjusted"]) == pytest.approx(holm_p(found["p"].to_numpy()))
    half = stats.t.isf(0.05 / 4, found["df"]) * found["se"]
    assert (found["upper"] - found["estimate"]).to_numpy() == pytest.approx(half.to_numpy())


def test_cells_and_factorial_effects():
    """Effects by hand from the four cell means (Box, Hunter & Hunter, chapter 5)."""
    rng = np.random.default_rng(2)
    cells = [(d, s, b) for b in range(6) for d in ("none", "one") for s in ("0 s", "8 s")]
    table = pd.DataFrame(cells, columns=["disc", "soak", "block"])
    table["ey_pct"] = 20 + rng.normal(0, 0.4, len(table))
    table["block"] = table["block"].astype(str)
    fit = fit_mixed_model(table, "ey_pct", "disc * soak", ["block"])
    means = marginal_means(fit, ["disc", "soak"])
    assert list(means["level"]) == ["none, 0 s", "none, 8 s", "one, 0 s", "one, 8 s"]
    cell = means["estimate"].to_numpy()
    raw = table.groupby(["disc", "soak"])["ey_pct"].mean().to_numpy()
    assert cell == pytest.approx(raw, abs=1e-9)
    found = factorial_effects(fit, ["disc", "soak"]).set_index("term")
    signs = {"disc": [-1, -1, 1, 1], "soak": [-1, 1, -1, 1], "disc:soak": [1, -1, -1, 1]}
    for term, sign in signs.items():
        assert found.loc[term, "estimate"] == pytest.approx(np.dot(sign, cell) / 2, abs=1e-9)
        f = fit.terms().set_index("term").loc[term, "F"]
        assert found.loc[term, "t"] ** 2 == pytest.approx(f, rel=1e-8)


def test_equivalence_is_two_one_sided_tests():
    """Schuirmann (1987): equivalent at 5 % when the 90 % interval lies inside the margin."""
    fit = one_way([20.0, 20.05, 20.6], n=14)
    pairs = all_pairs(fit, "method")
    found = equivalence(pairs, margin=0.5)
    for row, pair in zip(found.itertuples(), pairs.itertuples(), strict=True):
        p1 = stats.t.sf((pair.estimate + 0.5) / pair.se, pair.df)
        p2 = stats.t.sf((0.5 - pair.estimate) / pair.se, pair.df)
        assert row.p == pytest.approx(max(p1, p2), abs=1e-12)
        assert row.equivalent == (row.lower > -0.5 and row.upper < 0.5)
    assert found["equivalent"].tolist() == [True, False, False]
    held = equivalence(pairs, margin=0.5, adjust="holm")
    assert held["p_adjusted"].to_numpy() == pytest.approx(holm_p(found["p"].to_numpy()))


def test_holm_on_the_fifteen_p_values_of_benjamini_and_hochberg():
    """Benjamini & Hochberg (1995), myocardial infarction example: Holm rejects 3 of 15."""
    p = np.array([.0001, .0004, .0019, .0095, .0201, .0278, .0298, .0344, .0459, .3240, .4262,
                  .5719, .6528, .7590, 1.0])  # fmt: skip
    assert np.sum(holm_p(p) <= 0.05) == 3


def test_interpolated_critical_values():
    """Lost shots: ten df within 5 %; each value against its own quantile."""
    correlation = np.full((4, 4), 0.5) + 0.5 * np.eye(4)
    quantile = partial(multivariate_t_ppf, 0.95, correlation)
    for centre in (6.0, 36.0, 240.0):
        df = centre * np.linspace(1.0, 1.049, 10)
        exact = np.array([quantile(v) for v in df])
        assert critical_values(quantile, df) == pytest.approx(exact, abs=1e-6)
