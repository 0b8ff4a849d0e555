"""Measurement against outside values.

Sources: ``reference/measurement/gauge_esp*.json`` (nested analysis of variance; REML in R, lme4),
``reference/measurement/gum_ey.json`` (JCGM 100:2008, R), and JCGM 100:2008 examples H.1 and H.5
(the input values of H.1 from memory; results as printed there).
"""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from kit.analysis.measurement import (
    Instruments,
    coverage_factor,
    effective_df,
    measurement_sentence,
    repeatability,
    uncertainty_budget,
    variance_shares,
    what_buys_more,
)
from kit.errors import DataError, ModelError
from kit.extraction import Uncertainty

REFERENCE = Path(__file__).parents[1] / "reference"
GUM = json.loads((REFERENCE / "measurement/gum_ey.json").read_text())["cases"]
INDEPENDENT = [case for case in GUM if case["corr_beverage_dose"] == 0]


def gauge(name: str) -> tuple[dict, pd.DataFrame]:
    case = json.loads((REFERENCE / f"measurement/{name}.json").read_text())
    return case, pd.read_csv(REFERENCE / f"data/{name}.csv", skipinitialspace=True)


@pytest.mark.parametrize("name", ["gauge_esp", "gauge_esp2"])
def test_repeatability_matches_the_gauge_study(name: str):
    case, data = gauge(name)
    found = repeatability(data, "tds", cup="sample")
    assert found.sd == pytest.approx(case["repeatability_sd"], rel=1e-10)
    assert [found.lower, found.upper] == pytest.approx(case["repeatability_sd_ci95"], rel=1e-10)
    assert found.limit == pytest.approx(case["repeatability_limit_1.96sqrt2"], rel=1e-10)
    assert found.df == case["anova"]["df_reading"]


@pytest.mark.parametrize("name", ["gauge_esp", "gauge_esp2"])
def test_variance_components_match_lme4_at_the_boundary_too(name: str):
    case, data = gauge(name)
    found = variance_shares(data, "tds", sample="sample").set_index("source")["variance"]
    residual = case["reml"]["Residual"]
    assert found["shot"] == pytest.approx(case["reml"]["shot"], rel=1e-5)
    assert found["reading"] == pytest.approx(residual, rel=1e-5)
    assert found["sample"] == pytest.approx(case["reml"]["sample"], rel=1e-5, abs=1e-6 * residual)


def test_shares_sum_to_one_and_match_the_gauge_study():
    case, data = gauge("gauge_esp")
    found = variance_shares(data, "tds", sample="sample").set_index("source")["share"]
    assert found.sum() == pytest.approx(1)
    assert found["shot"] == pytest.approx(case["share"]["outer"], rel=1e-5)
    assert found["reading"] == pytest.approx(case["share"]["reading"], rel=1e-5)


@pytest.mark.parametrize("case", INDEPENDENT, ids=lambda case: f"{case['ey_percent']:.3f}")
def test_the_budget_matches_gum(case: dict):
    u = Uncertainty(case["u_tds"], case["u_beverage"], case["u_dose"])
    df_tds, *others = (math.inf if df == "Inf" else float(df) for df in case["df_inputs"])
    budget = uncertainty_budget(case["tds_percent"], case["beverage_g"], case["dose_g"], u, df_tds)
    table = budget.table.set_index("source")
    for source, key in (("TDS", "tds"), ("beverage", "beverage"), ("dose", "dose")):
        assert table.loc[source, "sensitivity"] == pytest.approx(case["sensitivity"][key])
        assert table.loc[source, "share"] == pytest.approx(case["share_of_variance"][key])
    assert budget.standard_points == pytest.approx(case["u_ey"], rel=1e-10)
    df = effective_df(list(zip(table["contribution_points"], [df_tds, *others], strict=True)))
    expected = math.inf if case["effective_df"] == "Inf" else case["effective_df"]
    assert df == pytest.approx(expected, rel=1e-10)
    assert coverage_factor(df) == pytest.approx(case["k95"], rel=1e-10)
    if all(math.isinf(other) for other in others):
        assert budget.expanded_points == pytest.approx(case["U95"], rel=1e-10)


def test_jcgm_100_h1_end_gauge():
    """Contributions of table H.1 in nm, with df: u_c = 31.7 → 32 nm, t99(16) = 2.92, U = 93."""
    parts = [(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)]
    combined = math.sqrt(sum(u**2 for u, _ in parts))
    assert round(combined, 1) == 31.7
    df = math.floor(effective_df(parts))  # G.4.1 takes the next lower whole number
    assert df == 16
    assert round(coverage_factor(df, 0.99), 2) == 2.92
    assert round(coverage_factor(df, 0.99) * 32) == 93


def test_jcgm_100_h5_voltage_standard_on_ten_days():
    """Ten days of five: s(day means) 57 µV, pooled s 85 µV; printed F = 2.25, between days 43 µV.

    The printed 43 comes from unrounded values; 57 and 85 as rounded give 42.5.
    """
    day = np.linspace(-1, 1, 10)
    within = np.array([-1.0, -0.5, 0.0, 0.5, 1.0])
    day *= 57 / day.std(ddof=1)
    within *= 85 / within.std(ddof=1)
    values = (day[:, None] + within[None, :]).ravel()
    data = pd.DataFrame({"shot": np.repeat(np.arange(10), 5), "volt": values})
    assert repeatability(data, "volt").sd == pytest.approx(85)
    sd = variance_shares(data, "volt").set_index("source")["sd"]
    assert round(1 + 5 * (sd["shot"] / sd["reading"]) ** 2, 2) == 2.25
    assert sd["shot"] == pytest.approx(43, abs=0.6)
    assert sd["reading"] == pytest.approx(85, rel=1e-5)


def test_a_tenth_of_a_gram_and_a_hundredth_as_in_the_trade_notes():
    """u(EY) near 0.10 points with 0.1 g scales and 0.06 with 0.01 g (trade notes, section 2b)."""
    typical = (9.8, 36.0, 18.0)
    coarse = uncertainty_budget(*typical, Instruments().uncertainty())
    fine = uncertainty_budget(
        *typical, Instruments(dose_step_g=0.01, beverage_step_g=0.01).uncertainty()
    )
    assert coarse.standard_points == pytest.approx(0.085, abs=0.02)
    assert fine.standard_points == pytest.approx(0.06, abs=0.005)


def test_more_shots_buy_more_than_more_readings():
    """Measurement is 2 to 5 % of the variance of a 0.45 shot SD (trade notes, section 2b)."""
    table = what_buys_more(0.45, 10, Instruments(), (9.8, 36.0, 18.0)).set_index("change")
    share = (table.loc["as it is", "measurement_sd"] / 0.45) ** 2
    assert 0.02 < share < 0.05
    gain = table["gain_pct"]
    assert gain["two more shots of each method"] == pytest.approx(100 * (1 - math.sqrt(10 / 12)))
    assert gain.idxmax() == "two more shots of each method"
    assert 0 < gain["3 readings of each cup"] < 2
    assert table.loc["two more shots of each method", "worth_shots"] == pytest.approx(2)
    assert table.loc["as it is", "shot_sd"] == pytest.approx(0.45)


def test_the_sentence_names_share_and_best_change():
    table = what_buys_more(0.45, 10, Instruments(), (9.8, 36.0, 18.0))
    said = measurement_sentence(table, 0.45)
    assert "“two more shots of each method” brings most" in said
    assert said.startswith("Measurement makes up 3 %")


def test_a_cup_read_once_says_nothing():
    once = pd.DataFrame({"shot": [1, 2, 3], "tds_pct": [9.1, 9.2, 9.3]})
    with pytest.raises(ModelError, match="No cup was read twice"):
        repeatability(once)


def test_impossible_settings_are_refused():
    with pytest.raises(DataError, match="above zero"):
        what_buys_more(0.0, 10, Instruments(), (9.8, 36.0, 18.0))
