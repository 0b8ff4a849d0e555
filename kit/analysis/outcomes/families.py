"""The declared family of comparisons of a fitted model, as one table with verdicts."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import pandas as pd

from kit.analysis.contrasts import (
    against_best,
    against_control,
    all_pairs,
    marginal_means,
    planned_contrasts,
)
from kit.analysis.mixedmodel import MixedModelFit
from kit.analysis.result import DIFFERENCE_COLUMNS
from kit.analysis.verdict import verdict
from kit.trial import Outcome, Trial

LEVEL = 0.95


def family_differences(fit: MixedModelFit, trial: Trial, outcome: Outcome) -> pd.DataFrame:
    """The comparisons the outcome declared, with simultaneous 95 % intervals and verdicts.

    All pairs by Tukey and Kramer, against the control by Dunnett (exact), a factorial's main
    effects and two-factor interactions by Bonferroni limits and Holm p values.
    """
    if trial.factors and "method" not in fit.fixed.factors:
        table = _factorial(fit, trial)
    elif (
        outcome.family == "against control" and trial.control in fit.fixed.factors["method"].levels
    ):
        table = against_control(fit, "method", control=str(trial.control), adjust="dunnett")
    else:
        table = all_pairs(fit, "method", adjust="tukey")
    table["verdict"] = [
        verdict(lower, upper, outcome.smallest_difference)
        for lower, upper in zip(table["lower"], table["upper"], strict=True)
    ]
    extra = [name for name in ("se", "df", "t") if name in table]
    return table[[*DIFFERENCE_COLUMNS[:3], *extra, *DIFFERENCE_COLUMNS[3:]]]


def method_means(fit: MixedModelFit, trial: Trial, study: pd.DataFrame) -> pd.DataFrame:
    """Adjusted mean of each method (each cell of a factorial): ``method, n, estimate, …``.

    The intervals hold all at once with at least 95 %: each at 0.95^(1/k) (Šidák 1967, J Amer
    Statist Assoc 62:626).
    """
    if "method" in fit.fixed.factors:
        level = LEVEL ** (1 / len(fit.fixed.factors["method"].levels))
        table = marginal_means(fit, "method", level=level).rename(columns={"level": "method"})
    else:
        easy = [factor.name for factor in trial.easy_factors if factor.name in fit.fixed.factors]
        cells = math.prod(len(fit.fixed.factors[name].levels) for name in easy)
        table = marginal_means(fit, easy, level=LEVEL ** (1 / cells))
        table["method"] = [_cell_method(trial, easy, label) for label in table.pop("level")]
        table = table[table["method"].notna()]
    counts = study["method"].astype(str).value_counts()
    table["n"] = table["method"].map(counts).fillna(0).astype(int)
    columns = ["method", "n", "estimate", "se", "df", "lower", "upper"]
    return table[columns].reset_index(drop=True)


def may_be_best(fit: MixedModelFit, outcome: Outcome) -> tuple[str, ...] | None:
    """The methods that may be the best (Hsu), or None where no direction was declared.

    Hsu's limits are one-sided: that a method stands alone means that no other is better, which
    of two methods that tie is said of one in ten trials. Alone it is left only where it also
    differs from each other method by the two-sided test, so that "the best" is said of a tie in
    one of twenty at most (whoever leads must pass its test against the other of the tie).
    """
    if outcome.higher_is_better is None or "method" not in fit.fixed.factors:
        return None
    table = against_best(fit, "method", higher_is_better=outcome.higher_is_better)
    best = set(table.loc[table["may_be_best"], "level"])
    if len(best) == 1:
        pairs = all_pairs(fit, "method", adjust="none")
        near = pairs[(pairs["p"] >= 1 - LEVEL) & (pairs["a"].isin(best) | pairs["b"].isin(best))]
        best |= set(near["a"]) | set(near["b"])
    return tuple(table.loc[table["level"].isin(best), "level"])


def _cell_method(trial: Trial, factors: list[str], label: str) -> str | None:
    """The method whose settings a cell label (``"one, 8 s"``) spells out."""
    for method in trial.methods:
        if ", ".join(method.settings[name] for name in factors) == label:
            return method.name
    return None


def _factorial(fit: MixedModelFit, trial: Trial) -> pd.DataFrame:
    """Level against level of each factor, and how far each two factors fail to add up."""
    factors = [factor for factor in trial.factors if factor.name in fit.fixed.factors]
    levels = {factor.name: fit.fixed.factors[factor.name].levels for factor in factors}
    named: dict[str, tuple[str, str]] = {}
    weights: dict[str, dict[str, float]] = {}
    for name, own in levels.items():
        for low, high in combinations(own, 2):
            key = f"{name}: {high} against {low}"
            named[key] = (f"{name}: {high}", f"{name}: {low}")
            weights[key] = _cell_weights(levels, {name: {high: 1.0, low: -1.0}})
    for one, other in combinations(levels, 2):
        if len(levels[one]) == len(levels[other]) == 2:
            key = f"{one} with {other}"
            named[key] = (key, "")
            weights[key] = _cell_weights(
                levels,
                {name: dict(zip(levels[name], (-1.0, 1.0), strict=True)) for name in (one, other)},
            )
    table = planned_contrasts(fit, list(levels), weights, adjust="holm")
    table["a"] = [named[key][0] for key in table["contrast"]]
    table["b"] = [named[key][1] for key in table["contrast"]]
    return table


def _cell_weights(
    levels: dict[str, tuple[str, ...]], signs: dict[str, dict[str, float]]
) -> dict[str, float]:
    """Weight of every cell: the product of its signs, averaged over the factors not named."""
    cells: dict[tuple[str, ...], float] = {(): 1.0}
    for name, own in levels.items():
        each = signs.get(name, dict.fromkeys(own, 1.0 / len(own)))
        cells = {
            (*cell, level): weight * each.get(level, 0.0)
            for cell, weight in cells.items()
            for level in own
        }
    return {", ".join(cell): weight for cell, weight in cells.items() if not np.isclose(weight, 0)}
