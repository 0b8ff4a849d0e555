"""Diagnostics: each must be quiet on good shots and speak up on bad ones."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from kit.analysis.designed_model import study_shots
from kit.analysis.diagnostics import influence, normal_plot, residuals_in_order, runs_test
from kit.errors import ModelError
from tests.analysis.invented import four_naps, invented_shots

TRUTH = {"Harbour": 19.0, "Fjord": 19.0, "Thaw": 19.0, "Cellar": 19.0}


def residual_table(values):
    return pd.DataFrame(
        {
            "shot": np.arange(1, len(values) + 1),
            "session": "S1",
            "method": "A",
            "fitted": 20.0,
            "residual": values,
            "standardised": values,
        }
    )


def test_runs_test():
    """Wald & Wolfowitz (1940), normal form: statsmodels' runstest_1samp."""
    from statsmodels.sandbox.stats.runs import runstest_1samp

    values = np.random.default_rng(4).normal(size=40)
    p, runs = runs_test(values > 0)
    assert p == pytest.approx(runstest_1samp(values, 0.0, correction=False)[1])
    assert runs == 1 + np.count_nonzero(np.diff(values > 0))
    assert np.isnan(runs_test(np.array([True] * 9 + [False]))[0])


def test_drift_shows_in_the_order_and_noise_does_not():
    rng = np.random.default_rng(3)
    assert "no sign" in residuals_in_order(residual_table(rng.normal(size=60))).sentence
    drift = residuals_in_order(residual_table(np.linspace(-2, 2, 60) + rng.normal(0, 0.3, 60)))
    assert "look for drift" in drift.sentence
    assert drift.table["running_mean"].iloc[-1] > 1


def test_normal_plot_coordinates():
    """Blom (1958): normal quantiles at (i − 3/8)/(n + 1/4) lie on the line of equality."""
    values = stats.norm.ppf((np.arange(1, 41) - 0.375) / 40.25)
    check = normal_plot(residual_table(np.random.default_rng(1).permutation(values)))
    assert check.table["observed"].to_numpy() == pytest.approx(check.table["expected"].to_numpy())
    assert "looks normal" in check.sentence
    skewed = normal_plot(residual_table(np.random.default_rng(2).gamma(0.7, 2, 60)))
    assert "not quite normal" in skewed.sentence
    assert "Beyond three SDs" in skewed.sentence
    with pytest.raises(ModelError, match="too few"):
        normal_plot(residual_table([0.1, 0.2]))


def test_a_shot_that_decides_a_verdict_is_named():
    trial = four_naps()
    shots = invented_shots(trial, np.random.default_rng(8), TRUTH, sd=0.15)
    study, _ = study_shots(shots, trial)
    assert "No verdict hangs" in influence(trial, study, trial.primary).sentence
    place = study.index[study["method"].eq("Thaw")][2]
    study.loc[place, "ey_pct"] += 4.0
    check = influence(trial, study, trial.primary)
    number = int(study.loc[place, "shot"])
    assert f"Without shot {number} (Thaw)" in check.sentence
    assert set(check.table["shot"]) == {number}
