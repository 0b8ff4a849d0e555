"""Shot-to-shot consistency: the SD of each method and the ratios of SDs."""

from __future__ import annotations

import pandas as pd

from kit.analysis.designed_model import error_columns, measured
from kit.analysis.outcomes.pairwise import not_shown_worse
from kit.analysis.repeatability import method_spread, spread_ratios, spread_test
from kit.analysis.result import DIFFERENCE_COLUMNS, GROUP_COLUMNS, OutcomeResult
from kit.analysis.verdict import ratio_verdict
from kit.trial import Outcome, Trial


def spread_outcome(
    trial: Trial, outcome: Outcome, study: pd.DataFrame, tastings: pd.DataFrame | None
) -> OutcomeResult:
    """SDs adjusted for the layout, with ratios for all pairs.

    Raises
    ------
    ModelError
        If no method has two usable shots, or all shots are equal.
    """
    del tastings, trial
    rows, aside = measured(study, outcome.measure)
    errors = error_columns(rows)
    groups = method_spread(rows, outcome.measure, errors).rename(columns={"sd": "estimate"})
    ratios = spread_ratios(rows, outcome.measure, errors).rename(columns={"ratio": "estimate"})
    ratios["verdict"] = [
        ratio_verdict(lower, upper, outcome.smallest_difference)
        for lower, upper in zip(ratios["lower"], ratios["upper"], strict=True)
    ]
    return OutcomeResult(
        outcome=outcome,
        groups=groups[GROUP_COLUMNS],
        differences=ratios[DIFFERENCE_COLUMNS],
        may_be_best=not_shown_worse(groups["method"], ratios, outcome, null=1.0),
        tests=_whole_test(rows, outcome.measure, errors),
        set_aside=tuple(aside),
        notes=(
            "Standard deviations of what is left after the layout's sessions and blocks, never "
            "ranges; chi-square and F intervals corrected for shots that are not normal (Box and "
            "Andersen 1955).",
            "Intervals of the ratios are simultaneous over all pairs (Bonferroni); each SD's own "
            "interval is not.",
        ),
    )


def _whole_test(rows: pd.DataFrame, measure: str, errors: tuple[str, ...]) -> pd.DataFrame:
    """Whether the methods differ in consistency at all."""
    found = spread_test(rows, measure, errors)
    return pd.DataFrame(
        {
            "test": ["Bartlett's test of equal spread, corrected for kurtosis"],
            "statistic": [found.statistic],
            "df": [f"{found.df:g}"],
            "p": [found.p],
        }
    )
