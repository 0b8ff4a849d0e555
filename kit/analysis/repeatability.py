"""Consistency: the shot-to-shot SD of each method, adjusted for sessions and blocks.

The SD is the repeatability SD of ISO 5725-1: the spread of shots pulled with one method under
conditions held as still as one block holds them. Ranges are never used: a range grows with the
number of shots.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from scipy import stats

from kit.analysis.heteroscedastic import (
    VarianceFits,
    fit_variances,
    layout_of,
    separable,
)
from kit.analysis.usable import pair_positions, two_methods_or_more, usable_rows
from kit.errors import ModelError

SPREAD = ("method", "n", "sd", "df", "lower", "upper")
RATIOS = ("a", "b", "ratio", "lower", "upper", "p", "p_adjusted")


def method_spread(
    table: pd.DataFrame,
    measure: str = "ey_pct",
    random: Sequence[str] = (),
    level: float = 0.95,
) -> pd.DataFrame:
    """The SD of each method with its interval.

    Parameters
    ----------
    table
        One row a shot: ``measure``, ``method`` and the ``random`` columns.
    random
        Columns whose levels shift all their shots together (session, block). A column that these
        shots cannot tell from the others is left out.
    level
        Confidence of each interval (each on its own, not all at once).

    Returns
    -------
    Columns ``method, n, sd, df, lower, upper`` in the unit of ``measure``. The SD is the REML
    estimate with an SD for each method; ``df`` is Satterthwaite's, 2 / Var(log s²), from the
    expected information, and the interval is the chi-square interval on it. Without random
    columns this is the textbook interval on n − 1. A method with one usable shot has no SD: its
    row is empty but for ``n``.

    Raises
    ------
    ModelError
        If no method has two usable shots, or all shots are equal.
    """
    rows = _rows(table, measure, random)
    fits, methods = _fit(rows, measure, random)
    sd = np.sqrt(fits.group_variances[0])
    df = 2 / np.diagonal(fits.log_covariance[0])
    tail = (1 - level) / 2
    spread = pd.DataFrame(
        {
            "method": methods,
            "n": rows["method"].value_counts().reindex(methods).to_numpy(),
            "sd": sd,
            "df": df,
            "lower": sd * np.sqrt(df / stats.chi2.isf(tail, df)),
            "upper": sd * np.sqrt(df / stats.chi2.ppf(tail, df)),
        }
    )
    return spread[list(SPREAD)]


def spread_ratios(
    table: pd.DataFrame,
    measure: str = "ey_pct",
    random: Sequence[str] = (),
    level: float = 0.95,
) -> pd.DataFrame:
    """The ratio of SDs of every pair, with simultaneous intervals and p values."""
    rows = _rows(table, measure, random)
    two_methods_or_more(rows, "consistency")
    fits, methods = _fit(rows, measure, random)
    pairs = pair_positions(len(methods))
    log_s2, covariance = np.log(fits.group_variances[0]), fits.log_covariance[0]
    a, b = np.array(pairs).T
    estimate = (log_s2[a] - log_s2[b]) / 2
    variance = covariance[a, a] + covariance[b, b] - 2 * covariance[a, b]
    # F on (ν, ν) degrees of freedom with the same variance of its logarithm: 4/ν.
    df = 4 / variance
    p = np.minimum(2 * stats.f.sf(np.exp(2 * np.abs(estimate)), df, df), 1.0)
    margin = np.log(stats.f.isf((1 - level) / 2 / len(pairs), df, df)) / 2
    return pd.DataFrame(
        {
            "a": [methods[i] for i in a],
            "b": [methods[i] for i in b],
            "ratio": np.exp(estimate),
            "lower": np.exp(estimate - margin),
            "upper": np.exp(estimate + margin),
            "p": p,
            "p_adjusted": np.minimum(p * len(pairs), 1.0),
        }
    )[list(RATIOS)]


def _rows(table: pd.DataFrame, measure: str, random: Sequence[str]) -> pd.DataFrame:
    rows = usable_rows(table, measure, ["method", *random])
    counts = rows["method"].value_counts()
    enough = counts.index[counts >= 2]
    if len(enough) == 0:
        raise ModelError(
            f"No method has two usable shots with “{measure}”, so nothing can be said about "
            "consistency. An SD needs at least two shots of a method; ten or more tell something."
        )
    rows = rows[rows["method"].isin(enough)].copy()
    rows["method"] = rows["method"].cat.remove_unused_categories()
    if np.ptp(rows[measure].to_numpy()) == 0:
        raise ModelError(
            f"All {len(rows)} shots show the same “{measure}” ({rows[measure].iloc[0]:g}). "
            "Shots are never all equal: look for a copied column or a rounded reading."
        )
    return rows


def _fit(rows: pd.DataFrame, measure: str, random: Sequence[str]) -> tuple[VarianceFits, list[str]]:
    layout = layout_of(
        rows, rows["method"].cat.codes.to_numpy().astype(np.intp), separable(rows, random)
    )
    methods = [str(name) for name in rows["method"].cat.categories]
    return fit_variances(layout, rows[measure].to_numpy()[None]), methods
