"""What an analysis hands on: the same few tables for every outcome, whatever its scale.

Means, spreads, fault rates and taste scores are analysed in different ways, but a person asks
the same things of each: where does each method stand, which differ, which may be best. So every
outcome ends in one :class:`OutcomeResult`, and findings, figures and reports need to know one
shape only.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from kit.analysis.designed_model import SetAside
from kit.trial import Outcome

DIFFERENT = "different"
SAME = "same within the SDM"
CANNOT_TELL = "cannot tell"
VERDICTS = (DIFFERENT, SAME, CANNOT_TELL)

GROUP_COLUMNS = ["method", "n", "estimate", "lower", "upper"]
DIFFERENCE_COLUMNS = ["a", "b", "estimate", "lower", "upper", "p", "p_adjusted", "verdict"]


@dataclass(frozen=True)
class OutcomeResult:
    """One outcome, analysed.

    Attributes
    ----------
    outcome
        What was judged, with its smallest difference that matters.
    groups
        One row a method: ``method, n, estimate, lower, upper`` (and ``se, df`` where a model
        gave them); the estimate is a mean, an SD or a rate, by the aspect of the outcome.
    differences
        One row a pair of the declared family: ``a, b, estimate, lower, upper, p, p_adjusted,
        verdict``; the estimate is a − b, or for spread the ratio SD(a) / SD(b).
        Intervals are simultaneous over the family, at 95 %.
    may_be_best
        The methods that may be the best (simultaneous comparison with the best), or None where
        no direction was declared.
    tests
        Tests of the whole outcome: ``test, statistic, df, p``.
    set_aside
        Rows that were not used, each with its reason.
    notes
        Sentences a reader needs: the model, its convergence, the meaning of the interval.
    residual_sd
        SD of what the model leaves, in the unit of the measure; None where no model was fitted.
    residuals
        One row a shot used: ``shot, session, method, fitted, residual, standardised``.
    """

    outcome: Outcome
    groups: pd.DataFrame
    differences: pd.DataFrame
    may_be_best: tuple[str, ...] | None
    tests: pd.DataFrame
    set_aside: tuple[SetAside, ...] = ()
    notes: tuple[str, ...] = ()
    residual_sd: float | None = None
    residuals: pd.DataFrame | None = None

    def difference_rows(self) -> list[dict[str, Any]]:
        """The rows of ``differences`` as dictionaries, in order."""
        return [
            dict(zip(self.differences.columns, row, strict=True))
            for row in self.differences.itertuples(index=False, name=None)
        ]

    @property
    def n(self) -> int:
        """Shots (or scores) used."""
        return int(self.groups["n"].sum())


@dataclass(frozen=True)
class NotAnalysed:
    """An outcome that the shots cannot answer, and why: said, never raised past the person."""

    outcome: Outcome
    reason: str


@dataclass(frozen=True)
class Analysis:
    """A whole completed trial, analysed.

    ``extras`` holds further tidy tables by name (reference chart, sensitivity, factorial
    effects, measurement check, diagnostics), each described in ``extra_notes``.
    """

    results: tuple[OutcomeResult, ...]
    not_analysed: tuple[NotAnalysed, ...]
    study: pd.DataFrame
    extras: dict[str, pd.DataFrame] = field(default_factory=dict)
    extra_notes: dict[str, str] = field(default_factory=dict)

    @property
    def primary(self) -> OutcomeResult | None:
        """The result that carries the claim, if the shots could answer it."""
        return next((item for item in self.results if item.outcome.role == "primary"), None)

    def result(self, name: str) -> OutcomeResult:
        """The result of the outcome called ``name`` (``ey_pct mean``).

        Raises
        ------
        KeyError
            If that outcome was not analysed.
        """
        for item in self.results:
            if item.outcome.name == name:
                return item
        raise KeyError(name)
