"""What it takes to say more: numbers that the plan would give for the noise that was seen."""

import re
from dataclasses import replace

import pandas as pd
import pytest
from scipy import stats

from kit.analysis.result import OutcomeResult
from kit.findings.needs import shots_in_words
from kit.trial import Outcome, read_trial
from tests.findings.test_findings import MEAN, RATE, SPREAD, THREE, result_of

LIKING = Outcome(measure="liking", aspect="score", smallest_difference=1.0)


def numbers(words: str) -> list[int]:
    return [int(number) for number in re.findall(r"\d+", words)]


def scored(se: float, df: float = 1e6) -> OutcomeResult:
    """Twelve cups a method, limits at two-sided 95 % of one comparison."""
    reach = stats.t.ppf(0.975, df) * se
    result = result_of(LIKING, [("A", "B", 0.2, 0.2 - reach, 0.2 + reach)], None)
    return replace(result, differences=result.differences.assign(se=se, df=df))


def test_cups_follow_from_the_standard_error_by_the_normal_formula(samples):
    """n × (z₀.₉₇₅ + z₀.₈)² SE² / δ² (Montgomery 2013, section 2.4, with the SE as it is)."""
    trial = read_trial(samples / "seven_rivers")
    z = stats.norm.ppf(0.975) + stats.norm.ppf(0.8)
    for se in (0.2, 1 / z, 0.7):
        count, now, _ = numbers(shots_in_words(trial, scored(se)))
        assert now == 12
        assert count == pytest.approx(12 * (z * se) ** 2, abs=1.01)


def test_a_noisier_panel_needs_more_cups(samples):
    trial = read_trial(samples / "seven_rivers")
    few, many = (numbers(shots_in_words(trial, scored(se, 20)))[0] for se in (0.4, 0.5))
    assert many > few


def test_a_factorial_is_told_for_effects_and_interactions_and_whole_plots(samples):
    """An interaction is a difference of differences: four times the shots of a main effect."""
    trial = read_trial(samples / "disc_and_soak")
    rows = [("disc: one", "disc: none", 0.2, -0.1, 0.5), ("disc with soak", "", 0.0, -0.5, 0.5)]
    outcome = MEAN.model_copy(update={"family": "factorial"})
    result = replace(result_of(outcome, rows, None), residual_sd=0.6)
    words = shots_in_words(trial, result)
    main, both, *_ = numbers(words)
    assert both / main == pytest.approx(4, rel=0.15)
    assert words.endswith("for temperature, more whole plots and not more shots")


def test_spread_and_rates_are_told_in_shots(samples):
    trial = read_trial(samples / "four_naps")
    for outcome, row in ((SPREAD, ("A", "B", 1.2, 0.5, 3.0)), (RATE, ("A", "B", 0.1, -0.3, 0.5))):
        result = result_of(outcome, [row], None)
        groups = pd.DataFrame(result.groups).assign(estimate=0.2)
        words = shots_in_words(trial, replace(result, groups=groups))
        assert re.fullmatch(r"about \d+ shots a method \(now 12\) for an 80 % chance", words)


def test_a_mean_is_planned_with_the_noise_of_this_analysis(samples):
    trial = read_trial(samples / "four_naps")
    calm, wild = (
        numbers(shots_in_words(trial, replace(result_of(MEAN, THREE, None), residual_sd=sd)))[0]
        for sd in (0.3, 0.6)
    )
    assert wild == pytest.approx(4 * calm, rel=0.2)
