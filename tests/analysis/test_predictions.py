"""Predictions and residuals against their definitions with n x n matrices."""

import numpy as np
import pytest

from kit.analysis.mixedmodel import fit_mixed_model
from kit.analysis.predictions import random_effects, residuals
from tests.analysis.dense_reference import indicator
from tests.analysis.test_mixedmodel import trial


@pytest.mark.parametrize("by", [None, "method"])
def test_against_the_definitions(by):
    """Henderson (1975): u = D Z'P y, Var(u - û) = D - D Z'PZ D; residual R P y with SE R √P_ii."""
    table = trial(11, block_sd=0.8, lost=3)
    fit = fit_mixed_model(table, "ey_pct", "method", ["session", "block"], by)
    v = fit.variance_components
    own = table["method"].map(lambda m: v["residual" if by is None else f"residual[{m}]"])
    zs = [indicator(table[name]) for name in ("session", "block")]
    x = indicator(table["method"])
    y = table["ey_pct"].to_numpy()
    big = np.diag(own) + sum(v.iloc[k] * z @ z.T for k, z in enumerate(zs))
    vi = np.linalg.inv(big)
    p = vi - vi @ x @ np.linalg.inv(x.T @ vi @ x) @ x.T @ vi
    predicted = random_effects(fit)
    for k, (name, z) in enumerate(zip(("session", "block"), zs, strict=True)):
        part = predicted[predicted["component"] == name]
        assert part["estimate"].to_numpy() == pytest.approx(v.iloc[k] * z.T @ p @ y, abs=1e-7)
        spread = v.iloc[k] - v.iloc[k] ** 2 * np.diag(z.T @ p @ z)
        assert part["se"].to_numpy() == pytest.approx(np.sqrt(spread), abs=1e-7)
    found = residuals(fit)
    error = own.to_numpy() * (p @ y)
    assert found["residual"].to_numpy() == pytest.approx(error, abs=1e-7)
    assert found["fitted"].to_numpy() == pytest.approx(y - error, abs=1e-7)
    standardised = (p @ y) / np.sqrt(np.diag(p))
    assert found["standardised"].to_numpy() == pytest.approx(standardised, rel=1e-6)


def test_least_squares_has_no_random_effects():
    table = trial(2)
    fit = fit_mixed_model(table, "ey_pct", "method + block")
    assert random_effects(fit).empty
    assert residuals(fit)["residual"].sum() == pytest.approx(0, abs=1e-9)
