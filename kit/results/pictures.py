"""Which pictures a completed trial has: the raw shots, then a few for every outcome."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from kit.analysis.result import OutcomeResult
from kit.figures import (
    Picture,
    Setting,
    adjusted_means,
    balance_certificate,
    differences,
    factorial_cells,
    fault_differences,
    fault_rates,
    measure_of,
    reference_chart,
    residual_checks,
    running_stills,
    sensitivity_grid,
    shots_in_order,
    spread,
    spread_ratios,
    taste_against,
    taste_between_methods,
    taste_scores,
)
from kit.findings.sentences import outcome_headline
from kit.results.compute import Results
from kit.schedule import certificate
from kit.trial import Trial

INVENTED = "Invented example"
MOST_COUNT_COLUMNS = 16
"""More columns of counts than these cannot be read side by side."""
FEWEST_CUPS = 6
"""Fewer cups that were both measured and tasted show no trend worth a line."""


def pictures_of(results: Results) -> list[Picture]:
    """All pictures of a completed trial, the raw shots first, then outcome by outcome."""
    pictures = raw_pictures(results)
    for result in results.analysis.results:
        setting = _outcome_setting(results, result)
        pictures += _BY_ASPECT[result.outcome.aspect](results, result, setting)
    return pictures + check_pictures(results) + balance_pictures(results)


def outcome_pictures(results: Results, outcome: str) -> list[Picture]:
    """The pictures of one outcome, by its name."""
    result = results.analysis.result(outcome)
    setting = _outcome_setting(results, result)
    return _BY_ASPECT[result.outcome.aspect](results, result, setting)


def _setting(results: Results) -> Setting:
    return _setting_of(results.trial)


def _setting_of(trial: Trial) -> Setting:
    mark = INVENTED if trial.invented else ""
    return Setting(tuple(trial.method_names), mark=mark)


def _outcome_setting(results: Results, result: OutcomeResult) -> Setting:
    """The setting of the pictures of one outcome: its verdict as title, and its n in words."""
    setting = _setting(results)
    return replace(setting, headline=outcome_headline(result), sample=_sample(result))


def _sample(result: OutcomeResult) -> str:
    """How many shots or scores an outcome rests on, as a sentence."""
    counts = result.groups["n"].astype(int)
    things = "scores (not shots)" if result.outcome.aspect == "score" else "shots"
    fewest, most = counts.min(), counts.max()
    each = f"{most}" if fewest == most else f"{fewest} to {most}"
    return f"n = {counts.sum()} {things}, {each} a method."


def raw_pictures(results: Results) -> list[Picture]:
    """The shots in the order pulled; nothing where neither order nor block is known."""
    measure = measure_of(results.trial.primary.measure)
    if measure.column not in results.shots or results.shots["block"].isna().all():
        return []
    return [shots_in_order(results.shots, measure, results.trial.recipe, _setting(results))]


def check_pictures(results: Results) -> list[Picture]:
    """The reference shots, the residuals of the primary analysis, and its other defensible ways."""
    pictures = []
    measure = measure_of(results.trial.primary.measure)
    chart = results.analysis.extras.get("reference_chart")
    if chart is not None:
        pictures.append(reference_chart(chart, measure_of("ey_pct"), _setting(results)))
    primary = results.analysis.primary
    if primary is not None and primary.residuals is not None:
        pictures.append(residual_checks(primary.residuals, measure, _setting(results)))
    variants = results.analysis.extras.get("sensitivity")
    if variants is not None:
        sample = "" if primary is None else _sample(primary)
        setting = replace(_setting(results), sample=sample)
        pictures.append(sensitivity_grid(variants, measure, setting))
    return pictures


def balance_pictures(results: Results) -> list[Picture]:
    """What the schedule balances, in the tables that are legible side by side.

    Place and predecessor come first; sessions and bags follow where there are few of them.
    Nothing where no schedule was drawn.
    """
    if results.schedule is None:
        return []
    counts: dict[str, pd.DataFrame] = {}
    columns = 0
    for title, table in certificate(results.trial, results.schedule).count_tables().items():
        columns += table.shape[1]
        if counts and columns > MOST_COUNT_COLUMNS:
            break
        counts[title] = table
    return [balance_certificate(counts, _setting(results))] if counts else []


def stills(trial: Trial, study: pd.DataFrame) -> list[Picture]:
    """Chance at work: the running means after the first study shot, the second, and so on.

    Raises
    ------
    DataError
        If no study shot has a value of the primary measure.
    """
    return running_stills(study, measure_of(trial.primary.measure), _setting_of(trial))


def _mean_pictures(results: Results, result: OutcomeResult, setting: Setting) -> list[Picture]:
    measure = measure_of(result.outcome.measure)
    study = results.analysis.study.dropna(subset=[measure.column])
    sdm = result.outcome.smallest_difference
    pictures = [
        adjusted_means(result.groups, study, measure, setting),
        differences(result.differences, measure, sdm, setting),
    ]
    factors = results.trial.easy_factors
    if 2 <= len(factors) <= 3:
        settings = {method.name: method.settings for method in results.trial.methods}
        cells = result.groups.copy()
        for factor in factors:
            cells[factor.name] = [settings[name][factor.name] for name in cells["method"]]
        pictures.append(factorial_cells(cells, study, factors, measure, setting))
    return pictures


def _spread_pictures(results: Results, result: OutcomeResult, setting: Setting) -> list[Picture]:
    measure = measure_of(result.outcome.measure)
    spreads = result.groups.rename(columns={"estimate": "sd"})
    ratios = result.differences.rename(columns={"estimate": "ratio"})
    pictures = [spread_ratios(ratios, measure, result.outcome.smallest_difference, setting)]
    for other in results.analysis.results:
        mean_of_it = other.outcome.name == f"{measure.column} mean"
        if mean_of_it and other.residuals is not None:
            pictures.insert(0, spread(spreads, other.residuals, measure, setting))
    return pictures


def _rate_pictures(results: Results, result: OutcomeResult, setting: Setting) -> list[Picture]:
    del results
    rates = result.groups.rename(columns={"estimate": "rate"})
    pairs = result.differences.rename(columns={"estimate": "difference"})
    return [
        fault_rates(rates, setting),
        fault_differences(pairs, result.outcome.smallest_difference, setting),
    ]


def _score_pictures(results: Results, result: OutcomeResult, setting: Setting) -> list[Picture]:
    attribute = result.outcome.measure
    scores = result.groups.assign(attribute=attribute)
    pictures = [
        taste_scores(scores, results.tastings, attribute, setting),
        differences(
            result.differences,
            measure_of(attribute),
            result.outcome.smallest_difference,
            setting,
        ),
    ]
    cups = _cups_with_extraction(results, attribute)
    if cups["method"].nunique() >= 2 and len(cups) >= FEWEST_CUPS:
        pictures.append(taste_against(cups, measure_of("ey_pct"), attribute, _setting(results)))
        return pictures
    extraction = [one for one in results.analysis.results if one.outcome.name == "ey_pct mean"]
    if extraction and len(result.groups) > 2:
        measure = measure_of("ey_pct")
        means = extraction[0].groups
        pictures.append(
            taste_between_methods(result.groups, means, measure, attribute, _setting(results))
        )
    return pictures


def _cups_with_extraction(results: Results, attribute: str) -> pd.DataFrame:
    """``shot, method, ey_pct, score`` of the study shots that were both measured and tasted."""
    tasted = results.tastings
    tasted = tasted[(tasted["attribute"] == attribute) & tasted["shot"].notna()]
    scores = tasted.groupby("shot")["score"].mean().rename("score")
    study = results.analysis.study
    if "ey_pct" not in study:
        return pd.DataFrame(columns=["shot", "method", "ey_pct", "score"])
    cups = study[["shot", "method", "ey_pct"]].merge(scores, left_on="shot", right_index=True)
    return cups.dropna(subset=["ey_pct", "score"])


_BY_ASPECT = {
    "mean": _mean_pictures,
    "spread": _spread_pictures,
    "rate": _rate_pictures,
    "score": _score_pictures,
}
