"""Shots with at least one flow fault: rates, and differences of rates."""

from __future__ import annotations

import pandas as pd

from kit.analysis.defects import fault_differences, fault_rates
from kit.analysis.designed_model import error_columns, measured
from kit.analysis.outcomes.pairwise import not_shown_worse
from kit.analysis.result import DIFFERENCE_COLUMNS, GROUP_COLUMNS, OutcomeResult
from kit.analysis.verdict import verdict_with_test
from kit.trial import Outcome, Trial


def rate_outcome(
    trial: Trial, outcome: Outcome, study: pd.DataFrame, tastings: pd.DataFrame | None
) -> OutcomeResult:
    """Rates with Wilson intervals, differences with Newcombe intervals and exact tests.

    Raises
    ------
    ModelError
        If fewer than two methods were scored.
    """
    del tastings, trial
    rows, aside = measured(study, outcome.measure)
    rates = fault_rates(rows, outcome.measure).rename(columns={"rate": "estimate"})
    stratum = next(iter(reversed(error_columns(rows))), None)
    pairs = fault_differences(rows, outcome.measure, strata=stratum)
    pairs = pairs.rename(columns={"difference": "estimate"})
    pairs["verdict"] = [
        verdict_with_test(lower, upper, p, outcome.smallest_difference)
        for lower, upper, p in zip(pairs["lower"], pairs["upper"], pairs["p_adjusted"], strict=True)
    ]
    within = f" within each {stratum.replace('_', ' ')}" if stratum else ""
    return OutcomeResult(
        outcome=outcome,
        groups=rates[[*GROUP_COLUMNS, "faulty"]],
        differences=pairs[DIFFERENCE_COLUMNS],
        may_be_best=not_shown_worse(
            rates["method"], pairs[pairs["p_adjusted"] < 0.05], outcome, null=0.0
        ),
        tests=pd.DataFrame(columns=["test", "statistic", "df", "p"]),
        set_aside=tuple(aside),
        notes=(
            "A shot counts once, however many faults it shows. Rates with Wilson's (1927) "
            "intervals; differences with Newcombe's (1998, method 10), simultaneous by Bonferroni.",
            "Called different only where the exact test agrees. "
            f"p values by the exact conditional test{within}, adjusted by Holm (1979).",
        ),
    )
