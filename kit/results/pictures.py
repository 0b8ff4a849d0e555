"""Which pictures a completed trial has: the raw shots, and a few for every outcome."""

from __future__ import annotations

from kit.analysis.result import OutcomeResult
from kit.figures import (
    Picture,
    Setting,
    adjusted_means,
    differences,
    measure_of,
    shots_in_order,
    spread,
    spread_ratios,
)
from kit.findings.sentences import outcome_headline
from kit.results.compute import Results

INVENTED = "Invented example"


def pictures_of(results: Results) -> list[Picture]:
    """All pictures of a completed trial, the raw shots first, then outcome by outcome."""
    trial = results.trial
    mark = INVENTED if trial.invented else ""
    plain = Setting(tuple(trial.method_names), mark=mark)
    main = measure_of(trial.primary.measure)
    pictures = []
    if main.column in results.shots:
        pictures.append(shots_in_order(results.shots, main, trial.recipe, plain))
    for result in results.analysis.results:
        setting = Setting(tuple(trial.method_names), outcome_headline(result), mark)
        pictures += _BY_ASPECT[result.outcome.aspect](results, result, setting)
    return pictures


def _mean_pictures(results: Results, result: OutcomeResult, setting: Setting) -> list[Picture]:
    measure = measure_of(result.outcome.measure)
    return [
        adjusted_means(result.groups, results.analysis.study, measure, setting),
        differences(result.differences, measure, result.outcome.smallest_difference, setting),
    ]


def _spread_pictures(results: Results, result: OutcomeResult, setting: Setting) -> list[Picture]:
    measure = measure_of(result.outcome.measure)
    spreads = result.groups.rename(columns={"estimate": "sd"})
    ratios = result.differences.rename(columns={"estimate": "ratio"})
    pictures = [spread_ratios(ratios, measure, result.outcome.smallest_difference, setting)]
    mean = next(
        (
            other
            for other in results.analysis.results
            if other.outcome.name == f"{measure.column} mean"
        ),
        None,
    )
    if mean is not None and mean.residuals is not None:
        pictures.insert(0, spread(spreads, mean.residuals, measure, setting))
    return pictures


def _no_pictures(results: Results, result: OutcomeResult, setting: Setting) -> list[Picture]:
    del results, result, setting
    return []


_BY_ASPECT = {
    "mean": _mean_pictures,
    "spread": _spread_pictures,
    "rate": _no_pictures,
    "score": _no_pictures,
}
