"""Every quantity of every reference case in tests/reference/lmm and tests/reference/hetero.

Made with R 4.2.2 (lme4 1.1-31, lmerTest 3.1-3, pbkrtest 0.5.2, emmeans 1.8.4, nlme 3.1-162);
the tolerances are those that come with the values. Dunnett values are by exact quadrature.
"""

from __future__ import annotations

import re
from functools import cache

import numpy as np
import pandas as pd
import pytest

from kit.analysis.contrasts import against_control, all_pairs, marginal_means
from kit.analysis.likelihood import ml_log_likelihood
from kit.analysis.mixedmodel import fit_mixed_model
from kit.analysis.predictions import random_effects
from tests.analysis import reference

METHODS = {"kr": "kenward-roger", "satt": "satterthwaite"}
DF_TOLERANCE = {"kr": 1e-5, "satt": 1e-4}  # lmerTest takes the Hessian numerically
BASIS_TOLERANCE = 3e-3  # Satterthwaite's multi-df F depends on the basis of the hypothesis


def names_in(folder):
    return sorted(p.stem for p in (reference.FOLDER / folder).glob("[a-z]*.json"))


LMM, HETERO = names_in("lmm"), names_in("hetero")


def table_of(case, levels):
    table = pd.read_csv(
        reference.FOLDER / case["data"], dtype=dict.fromkeys(levels, str), skipinitialspace=True
    )
    for name, order in levels.items():
        table[name] = pd.Categorical(table[name].str.strip(), categories=order)
    return table


@cache
def lmm(name):
    case = reference.values(f"lmm/{name}")
    response, right = case["formula_r"].split(" ~ ")
    random = re.findall(r"\(1 \| (\w+)\)", right)
    fixed = re.sub(r" \+ \(1 \| \w+\)", "", right)
    fit = fit_mixed_model(table_of(case, case["levels"]), response, fixed, random)
    return case, fit, random


def column(rows, key):
    return np.array([row[key] for row in rows], dtype=float)


@pytest.mark.parametrize("name", LMM)
def test_criterion_components_and_predictions(name):
    case, fit, random = lmm(name)
    assert fit.reml_criterion == pytest.approx(case["reml_criterion"], abs=1e-6)
    assert ml_log_likelihood(fit) == pytest.approx(case["loglik_ml"], abs=1e-6)
    assert fit.at_boundary == case["singular"]
    assert fit.certificate.converged
    residual = case["varcomp"]["Residual"]
    expected = np.array([*(case["varcomp"][r] for r in random), residual])
    found = fit.variance_components[[*random, "residual"]].to_numpy()
    assert found == pytest.approx(expected, rel=1e-5, abs=1e-6 * residual)
    predicted = random_effects(fit).set_index(["component", "level"])["estimate"]
    for component, levels in case["blup"].items():
        for level, value in levels.items():
            assert predicted[component, level] == pytest.approx(value, abs=1e-6 * residual**0.5)


@pytest.mark.parametrize("how", METHODS)
@pytest.mark.parametrize("name", LMM)
def test_coefficients(name, how):
    case, fit, _ = lmm(name)
    found = fit.coefficients(df_method=METHODS[how])
    sd = case["varcomp"]["Residual"] ** 0.5
    rows = case["fixed"]
    at = [reference_term(row["name"], fit) for row in rows]
    found = found.set_index("term").loc[at]
    se = column(rows, "se_kr" if how == "kr" else "se")
    assert found["estimate"].to_numpy() == pytest.approx(column(rows, "estimate"), abs=1e-6 * sd)
    assert found["se"].to_numpy() == pytest.approx(se, rel=1e-6)
    assert found["df"].to_numpy() == pytest.approx(column(rows, f"df_{how}"), rel=DF_TOLERANCE[how])
    assert found["p"].to_numpy() == pytest.approx(column(rows, f"p_{how}"), abs=1e-6)


def reference_term(name, fit):
    """lme4 writes methodm2 where the kit writes method[m2]."""
    plain = {term.replace("[", "").replace("]", ""): term for term in fit.fixed.names}
    return plain[name]


@pytest.mark.parametrize("how", METHODS)
@pytest.mark.parametrize("name", [n for n in LMM if "anova_type3" in reference.values(f"lmm/{n}")])
def test_type_three_tests(name, how):
    case, fit, _ = lmm(name)
    rows = case["anova_type3"][how]
    found = fit.terms(df_method=METHODS[how]).set_index("term").loc[[r["term"] for r in rows]]
    wide = how == "satt" and len(rows) == 1  # lmerTest: another basis for a single term
    df = BASIS_TOLERANCE if wide else DF_TOLERANCE[how]
    assert list(found["num_df"]) == [r["num_df"] for r in rows]
    assert found["den_df"].to_numpy() == pytest.approx(column(rows, "den_df"), rel=df)
    assert found["F"].to_numpy() == pytest.approx(column(rows, "F"), rel=DF_TOLERANCE[how])
    assert found["p"].to_numpy() == pytest.approx(column(rows, "p"), abs=1e-4 if wide else 1e-6)


FACTORS = [
    (name, factor)
    for name in LMM
    for factor in reference.values(f"lmm/{name}").get("emmeans") or {}
]


@pytest.mark.parametrize("how", METHODS)
@pytest.mark.parametrize(("name", "factor"), FACTORS)
def test_means_pairs_and_control(name, factor, how):
    case, fit, _ = lmm(name)
    block = case["emmeans"][factor][how]
    sd, method = case["varcomp"]["Residual"] ** 0.5, METHODS[how]
    means = marginal_means(fit, factor, df_method=method)
    assert list(means["level"]) == [row["level"] for row in block["emm"]]
    matches(means, block["emm"], "emmean", sd, how)
    pairs, rows = all_pairs(fit, factor, df_method=method), block["pairwise"]
    assert list(pairs["a"] + " - " + pairs["b"]) == [row["contrast"] for row in rows]
    matches(pairs.assign(lower=None, upper=None), rows, "estimate", sd, how)
    assert pairs["p_adjusted"].to_numpy() == pytest.approx(column(rows, "p_tukey"), abs=1e-6)
    holm = all_pairs(fit, factor, adjust="holm", df_method=method)
    assert holm["p_adjusted"].to_numpy() == pytest.approx(column(rows, "p_holm"), abs=1e-6)
    matches(all_pairs(fit, factor, adjust="none", df_method=method), rows, "estimate", sd, how)
    control = against_control(fit, factor, block["control_level"], df_method=method)
    rows = block["vs_control"]
    assert list(control["a"] + " - " + control["b"]) == [row["contrast"] for row in rows]
    exact = np.array([np.nan if r["p_dunnett_mvt_exact"] is None else r["p_dunnett_mvt_exact"]
                      for r in rows])  # fmt: skip
    known = np.isfinite(exact)
    assert control["p_adjusted"].to_numpy()[known] == pytest.approx(exact[known], abs=1e-6)


def matches(found, rows, estimate, sd, how):
    assert found["estimate"].to_numpy() == pytest.approx(column(rows, estimate), abs=1e-6 * sd)
    assert found["se"].to_numpy() == pytest.approx(column(rows, "se"), rel=1e-6)
    assert found["df"].to_numpy() == pytest.approx(column(rows, "df"), rel=DF_TOLERANCE[how])
    if found["lower"].notna().all():
        half = (column(rows, "upper") - column(rows, "lower")) / 2
        for side in ("lower", "upper"):
            error = np.abs(found[side].to_numpy() - column(rows, side)) / half
            assert error.max() < 2 * DF_TOLERANCE[how]


@pytest.mark.parametrize("by", [None, "group"])
@pytest.mark.parametrize("name", HETERO)
def test_own_residual_sd(name, by):
    case = reference.values(f"hetero/{name}")
    random = case["random"] or []
    random = [random] if isinstance(random, str) else random
    group = case["group"]
    expected = case["reml_homoscedastic" if by is None else "reml_heteroscedastic"]
    table = table_of(case, {group: case["levels"]})
    fit = fit_mixed_model(table, case["response"], group, random, by and group)
    assert fit.reml_criterion == pytest.approx(-2 * expected["loglik"], abs=2e-6)
    assert fit.certificate.converged
    sds = {f"residual[{k}]" if by else "residual": v for k, v in expected["sd_resid"].items()}
    found = np.sqrt(fit.variance_components[list(sds)].to_numpy())
    assert found == pytest.approx(list(sds.values()), rel=1e-4)
    for component in random:
        value = expected["var_random"][component]
        assert fit.variance_components[component] == pytest.approx(value, rel=2e-4, abs=1e-8)
    coefficients = fit.coefficients(df_method="satterthwaite")
    rows = expected["fixed"]
    assert coefficients["estimate"].to_numpy() == pytest.approx(column(rows, "estimate"), abs=1e-6)
    assert coefficients["se"].to_numpy() == pytest.approx(column(rows, "se"), rel=1e-4)
