"""Many fits with method-specific SDs, against R and against the one-at-a-time engine."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from kit.analysis.heteroscedastic import fit_variances, layout_of, separable
from kit.analysis.mixedmodel import fit_mixed_model
from kit.analysis.usable import usable_rows
from tests.analysis.reference import data, values

CASES = ["ergostool", "esp", "esp_missing", "insectsprays", "penicillin", "plantgrowth"]


def rows_of(case):
    random = case["random"] or []
    random = [random] if isinstance(random, str) else random
    return usable_rows(data(case), case["response"], [case["group"], *random]), random


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("model", ["reml_homoscedastic", "reml_heteroscedastic"])
def test_against_r(name, model):
    """tests/reference/hetero: own dense REML optimiser, agreeing with nlme (R 4.2)."""
    case = values(f"hetero/het_{name}")
    rows, random = rows_of(case)
    groups = rows[case["group"]].cat.codes.to_numpy().astype(int)
    if model == "reml_homoscedastic":
        groups = groups * 0
    layout = layout_of(rows, groups, random, case["group"])
    fit = fit_variances(layout, rows[case["response"]].to_numpy()[None])
    expected = case[model]
    assert fit.converged.all()
    assert -fit.criterion[0] / 2 == pytest.approx(expected["loglik"], abs=1e-6)
    sd = list(expected["sd_resid"].values())
    assert np.sqrt(fit.group_variances[0]) == pytest.approx(sd, rel=1e-4)
    variances = list((expected["var_random"] or {}).values())
    scale = np.var(rows[case["response"]])
    assert fit.random_variances[0] == pytest.approx(variances, rel=2e-4, abs=1e-6 * scale)


def test_a_batch_is_the_same_as_one_at_a_time():
    """30 simulated trials (seed 5), zero variances among them, against the mixed-model engine."""
    rng = np.random.default_rng(5)
    rows = pd.DataFrame(
        {
            "method": np.tile(list("ABC"), 10),
            "block": np.repeat([f"b{i:02}" for i in range(10)], 3),
            "session": np.repeat(["s1", "s2"], 15),
        }
    ).astype("category")
    layout = layout_of(rows, rows["method"].cat.codes.to_numpy().astype(int), ["session", "block"])
    responses = rng.normal(size=(30, 30)) * np.tile([0.4, 0.5, 0.9], 10)
    fits = fit_variances(layout, responses)
    assert fits.converged.all()
    assert (fits.random_variances == 0).any()
    compared = 0
    for i, response in enumerate(responses):
        one = fit_mixed_model(
            rows.assign(y=response), "y", "method", ["session", "block"], residual_by="method"
        )
        if one.variance_components.iloc[2:].min() > 1e-3 * response.var():
            assert fits.criterion[i] == pytest.approx(one.reml_criterion, abs=1e-5)
            compared += 1
    assert compared >= 20  # the rest have a method whose blocks take all its spread: no SD to find


def test_scale_and_level_do_not_matter():
    rng = np.random.default_rng(6)
    rows = pd.DataFrame(
        {"method": np.tile(list("AB"), 9), "block": np.repeat(np.arange(9), 2)}
    ).astype("category")
    layout = layout_of(rows, rows["method"].cat.codes.to_numpy().astype(int), ["block"])
    response = rng.normal(size=(1, 18))
    plain, changed = fit_variances(layout, response), fit_variances(layout, 1e4 + 50 * response)
    assert changed.group_variances == pytest.approx(2500 * plain.group_variances, rel=1e-4)


def test_columns_that_cannot_be_told_apart_are_left_out():
    rows = pd.DataFrame(
        {
            "method": list("AABBAABB"),
            "day": list("xxyyxxyy"),  # one method a day: not to be told from the methods
            "block": list("ppppqqqq"),
            "again": list("ppppqqqq"),
            "shot": list("12345678"),
        }
    ).astype("category")
    assert separable(rows, ["day", "block", "again", "shot"]) == ["block"]
