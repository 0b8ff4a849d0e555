"""The batched fit against the dense formulas, the single fit, and other starts."""

import json
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from kit.analysis.batch.crossed import crossed_trials, independent_groups
from kit.analysis.batch.fit import fit_batch
from kit.analysis.batch.layout import lay_out
from kit.analysis.batch.moments import estimates
from kit.analysis.batch.nested import nested_plan, nested_trials
from kit.analysis.batch.optimise import minimise
from kit.analysis.contrasts import all_pairs
from kit.analysis.mixedmodel import fit_mixed_model
from kit.errors import ModelError
from tests.analysis.batch.designs import DESIGNS, simulated
from tests.analysis.dense_reference import dense_fit

REFERENCE = Path(__file__).parents[2] / "reference"


@pytest.mark.parametrize("name", DESIGNS)
def test_against_dense_formulas(name):
    """Every number of 12 trials against n x n matrices (tests/analysis/dense_reference.py)."""
    layout, y, kept = simulated(name, 12, seed=11)
    fits = fit_batch(layout, y, kept)
    rows = layout.all_pairs()
    kr, satt = fits.kenward_roger(rows), fits.satterthwaite(rows)
    assert fits.converged.all()
    for t in range(y.shape[1]):
        here, variances = kept[:, t], fits.variances[:, t]
        labels = [codes[here] for codes in layout.codes]
        dense = dense_fit(y[here, t], layout.fixed[here], labels, variances)
        assert fits.reml_criterion[t] == pytest.approx(dense.criterion, abs=1e-9)
        assert rows @ dense.beta == pytest.approx(kr.estimate[:, t], abs=1e-10)
        assert np.sqrt(np.diag(rows @ dense.cov_kr @ rows.T)) == pytest.approx(
            kr.se[:, t], rel=1e-10
        )
        assert [dense.kr_df(r) for r in rows] == pytest.approx(kr.df[:, t], rel=1e-9)
        positive = variances > 0.0
        reduced = dense_fit(
            y[here, t],
            layout.fixed[here],
            [x for x, keep in zip(labels, positive, strict=False) if keep],
            variances[positive],
        )
        expected = [reduced.satterthwaite_df(r) for r in rows]
        assert expected == pytest.approx(satt.df[:, t], rel=1e-8)
        # optimality: no slope at a positive variance, no gain from moving off zero
        slope = dense.score * np.maximum(variances, 1e-3)
        assert np.abs(slope[positive]).max() < 1e-7
        assert np.all(slope[~positive] < 1e-7)


@pytest.mark.parametrize("name", [n for n in DESIGNS if n != "latin_positions"])
def test_agrees_with_the_single_fit(name):
    """Estimates, SE, df, F and criterion of ``fit_mixed_model`` on the same data, to 1e-10."""
    layout, y, kept = simulated(name, 4, seed=12)
    fits = fit_batch(layout, y, kept)
    batch = fits.kenward_roger(layout.all_pairs())
    test = fits.method_test()
    method = layout.fixed.argmax(axis=1)
    for t in range(y.shape[1]):
        table = pd.DataFrame({"y": y[:, t], "method": pd.Categorical(method)})
        for column, codes in zip(layout.names, layout.codes, strict=True):
            table[column] = [f"{column}{c}" for c in codes]
        single = fit_mixed_model(
            table[kept[:, t]], response="y", fixed="method", random=list(layout.names)
        )
        pairs = all_pairs(single, "method")
        assert single.reml_criterion == pytest.approx(fits.reml_criterion[t], abs=1e-10)
        assert pairs["estimate"].to_numpy() == pytest.approx(batch.estimate[:, t], abs=1e-10)
        assert pairs["se"].to_numpy() == pytest.approx(batch.se[:, t], rel=1e-10)
        assert pairs["df"].to_numpy() == pytest.approx(batch.df[:, t], rel=1e-9)
        row = single.terms().iloc[0]
        assert row["F"] == pytest.approx(test.f[t], rel=1e-9)
        assert row["den_df"] == pytest.approx(test.den_df[t], rel=1e-9)


@pytest.mark.parametrize("name", ["esp_complete", "esp_missing15_int", "esp_missingcells"])
def test_reference_fits(name):
    """tests/reference/lmm (lme4, pbkrtest) at the tolerances of the reference's README."""
    case = json.loads((REFERENCE / "lmm" / f"{name}.json").read_text())
    data = pd.read_csv(REFERENCE / case["data"])
    response, rhs = case["formula_r"].split(" ~ ")
    random = re.findall(r"\(1 \| (\w+)\)", rhs)
    data = data.sort_values("method", kind="stable")
    layout = lay_out(data["method"], {c: data[c] for c in random})
    fits = fit_batch(layout, data[[response]].to_numpy(float))
    assert fits.reml_criterion[0] == pytest.approx(case["reml_criterion"], abs=1e-6)
    expected = [case["varcomp"][c] for c in [*random, "Residual"]]
    scale = case["varcomp"]["Residual"]
    assert fits.variances[:, 0] == pytest.approx(expected, rel=1e-5, abs=1e-6 * scale)
    rows = {r["contrast"]: r for r in case["emmeans"]["method"]["kr"]["pairwise"]}
    pairs = fits.kenward_roger(layout.all_pairs())
    first, second = np.triu_indices(layout.n_methods, 1)
    for i, (a, b) in enumerate(zip(first, second, strict=True)):
        row = rows[f"{layout.methods[a]} - {layout.methods[b]}"]
        assert pairs.estimate[i, 0] == pytest.approx(row["estimate"], abs=1e-6)
        assert pairs.se[i, 0] == pytest.approx(row["se"], rel=1e-6)
        assert pairs.df[i, 0] == pytest.approx(row["df"], rel=1e-5)
    (term,) = case["anova_type3"]["kr"]
    test = fits.method_test()
    assert test.f[0] == pytest.approx(term["F"], rel=1e-5)
    assert test.den_df[0] == pytest.approx(term["den_df"], rel=1e-5)


@pytest.mark.parametrize("name", ["complete_5x12", "blocks_only_4x6", "incomplete"])
def test_nested_and_crossed_products_agree(name):
    """Two routes to the same cross-products, at zero and positive ratios."""
    layout, y, kept = simulated(name, 8, seed=13, centre=0.0)
    plan = nested_plan(layout)
    nested, crossed = nested_trials(plan, y, kept), crossed_trials(layout, y, kept)
    for ratio in (0.0, 0.7, 40.0):
        gamma = np.full((len(layout.codes), 8), ratio)
        a, b = nested.products(gamma), crossed.products(gamma)
        assert a.a == pytest.approx(b.a, abs=1e-9)
        assert a.log_h == pytest.approx(b.log_h, abs=1e-10)
        assert np.array(a.d) == pytest.approx(np.array(b.d), abs=1e-9)
        assert np.array(a.e) == pytest.approx(np.array(b.e), abs=1e-9)
        assert a.trace == pytest.approx(b.trace, abs=1e-9)
        assert a.traces == pytest.approx(b.traces, abs=1e-9)
        assert np.isfinite(estimates(a).rss).all()


@pytest.mark.parametrize("name", ["complete_5x12", "incomplete", "blocks_only_4x6", "split_plot"])
def test_no_start_finds_a_lower_minimum(name):
    """2,000 trials, 20 % lost, from five starts: none better by 1e-6 (local optima: 5 in 10^4)."""
    layout, y, kept = simulated(name, 2_000, seed=14, loss=0.2, centre=0.0)
    reported = fit_batch(layout, y, kept)
    assert (reported.converged | ~reported.usable).all()
    count = len(layout.codes)
    for start in (0.0, 0.01, 1.0, 6.0):
        found = minimise(reported.trials, np.full((count, y.shape[1]), start))
        lower = found.value < reported.minimum.value - 1e-6
        assert lower[reported.usable].sum() <= 1


def test_lost_methods_and_hopeless_trials_say_so():
    """A method without shots, or no shot to spare, is not usable; the others are untouched."""
    layout, y, kept = simulated("complete_5x12", 6, seed=15)
    alone = fit_batch(layout, y[:, 3:], kept[:, 3:])
    gone = kept.copy()
    gone[layout.fixed[:, 2] == 1.0, 0] = False
    gone[5:, 1] = False
    gone[:, 2] = False
    fits = fit_batch(layout, y, gone)
    assert fits.usable.tolist() == [False, False, False, True, True, True]
    assert not fits.converged[:3].any()
    assert fits.converged[3:].all()
    pairs = fits.kenward_roger(layout.all_pairs())
    assert np.isnan(pairs.se[:, :3]).all()
    same = alone.kenward_roger(layout.all_pairs())
    assert pairs.se[:, 3:] == pytest.approx(same.se, rel=1e-9)


def test_missing_values_of_lost_shots_are_ignored():
    layout, y, kept = simulated("complete_3x4", 5, seed=16)
    blank = np.where(kept, y, np.nan)
    a, b = fit_batch(layout, y, kept), fit_batch(layout, blank, kept)
    assert a.variances == pytest.approx(b.variances, nan_ok=True)


def test_constant_outcome_is_not_converged():
    """No variation: nothing can be estimated, and the fit says so instead of inventing zero."""
    layout, y, kept = simulated("complete_5x12", 2, seed=17)
    y[:, 0] = 20.0
    assert fit_batch(layout, y, kept).converged.tolist() == [False, True]


def test_independent_groups():
    """Sessions are groups of their own unless something crosses them."""
    assert independent_groups(DESIGNS["crossed_tasters"][0]).max() + 1 == 2
    assert independent_groups(DESIGNS["crossed_rounds"][0]).max() + 1 == 1
    assert independent_groups(DESIGNS["method_by_session"][0]).max() + 1 == 3


def test_components_that_cannot_be_told_apart():
    """Blocks of one shot are the shots themselves: no split of the variance is an answer."""
    method = np.tile(np.arange(3), 6)
    layout = lay_out(method, {"block": np.arange(18)})
    y = np.random.default_rng(19).standard_normal((18, 4))
    assert not fit_batch(layout, y).converged.any()


def test_refuses_in_words():
    layout, y, kept = simulated("complete_5x12", 2, seed=18)
    with pytest.raises(ModelError, match="60 shots by trials"):
        fit_batch(layout, y[:30], kept[:30])
    with pytest.raises(ModelError, match="at least two methods"):
        lay_out(["a", "a"], {"block": [1, 2]})
    with pytest.raises(ModelError, match="Column block has 3 entries"):
        lay_out(["a", "b"], {"block": [1, 2, 3]})
    with pytest.raises(ModelError, match="repeat what the methods"):
        lay_out(["a", "b", "a", "b"], {"block": [1, 1, 2, 2]}, adjust=[0, 1, 0, 1])
