"""Consistency: the shot-to-shot SD of each method, adjusted for sessions and blocks.

The SD is the repeatability SD of ISO 5725-1: the spread of shots pulled with one method under
conditions held as still as one block holds them. Ranges are never used: a range grows with the
number of shots.

A shot's residual is what is left when the mean of its method and the predicted shifts of its
session and block are taken away; :mod:`kit.analysis.adjusted_variances` makes variances of the
residuals. Without blocks, and with normal shots, all this is the textbook SD, its chi-square
interval, the F test, and Bartlett's. The test was chosen by a simulation of level and power for
normal, long-tailed and leaning shots: ``tests/benchmarks/consistency.py``, with what it printed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from kit.analysis.adjusted_variances import (
    AdjustedVariances,
    adjusted_variances,
    corrected_bartlett,
    variance_ratios,
)
from kit.analysis.heteroscedastic import (
    fit_variances,
    layout_of,
    predicted_residuals,
    separable,
)
from kit.analysis.multiplicity import holm_p
from kit.analysis.usable import pair_positions, two_methods_or_more, usable_rows
from kit.errors import ModelError

SPREAD = ("method", "n", "sd", "df", "lower", "upper")
RATIOS = ("a", "b", "ratio", "lower", "upper", "p", "p_adjusted")


@dataclass(frozen=True)
class SpreadTest:
    """A test that all methods are equally consistent."""

    statistic: float
    df: int
    p: float


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
    Columns ``method, n, sd, df, lower, upper`` in the unit of ``measure``; chi-square intervals
    on ``df`` = δ / (A⁻¹)_mm. A method with one usable shot has no SD and no row. A method whose
    shots are all equal has SD 0 and no upper limit.

    Raises
    ------
    ModelError
        If no method has two usable shots, all shots are equal, or blocks hide the spread.
    """
    rows = _rows(table, measure, random)
    found = _variances(rows, measure, random)
    sd, df = np.exp(found.log_s2 / 2), found.df
    tail = (1 - level) / 2
    upper = sd * np.sqrt(df / stats.chi2.ppf(tail, df))
    return pd.DataFrame(
        {
            "method": _methods(rows),
            "n": found.counts.astype(int),
            "sd": sd,
            "df": df,
            "lower": sd * np.sqrt(df / stats.chi2.isf(tail, df)),
            "upper": np.where(sd > 0, upper, np.inf),
        }
    )[list(SPREAD)]


def spread_ratios(
    table: pd.DataFrame,
    measure: str = "ey_pct",
    random: Sequence[str] = (),
    level: float = 0.95,
) -> pd.DataFrame:
    """The ratio of the SDs of every pair, a over b.

    Returns
    -------
    Columns ``a, b, ratio, lower, upper, p, p_adjusted``. F tests and intervals on corrected
    degrees of freedom; the intervals hold together at ``level`` (Bonferroni over the pairs) and
    ``p_adjusted`` is Holm's. A pair with a method that never varied is not judged: its interval
    runs from 0 to infinity.

    Raises
    ------
    ModelError
        If fewer than two methods have two usable shots, all shots are equal, or blocks hide the
        spread.
    """
    rows = _rows(table, measure, random)
    methods = two_methods_or_more(rows, "consistency")
    a, b = np.array(pair_positions(len(methods))).T
    each = 1 - (1 - level) / len(a)
    found = _variances(rows, measure, random)
    log_ratio, lower, upper, p = variance_ratios(found, a, b, each)
    return pd.DataFrame(
        {
            "a": [methods[i] for i in a],
            "b": [methods[i] for i in b],
            "ratio": np.exp(log_ratio / 2),
            "lower": np.exp(lower / 2),
            "upper": np.exp(upper / 2),
            "p": p,
            "p_adjusted": holm_p(p),
        }
    )[list(RATIOS)]


def spread_test(
    table: pd.DataFrame, measure: str = "ey_pct", random: Sequence[str] = ()
) -> SpreadTest:
    """Whether the methods differ in consistency at all.

    Bartlett's (1937) test on block-adjusted variances, times δ for shots that are not normal.
    Methods that never varied are left out.

    Raises
    ------
    ModelError
        As :func:`spread_ratios`.
    """
    rows = _rows(table, measure, random)
    two_methods_or_more(rows, "consistency")
    return SpreadTest(*corrected_bartlett(_variances(rows, measure, random)))


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
    for name in ("method", *random):
        rows[name] = rows[name].cat.remove_unused_categories()
    if np.ptp(rows[measure].to_numpy()) == 0:
        raise ModelError(
            f"All {len(rows)} shots show the same “{measure}” ({rows[measure].iloc[0]:g}). "
            "Shots are never all equal: look for a copied column or a rounded reading."
        )
    return rows


def _methods(rows: pd.DataFrame) -> list[str]:
    return [str(name) for name in rows["method"].cat.categories]


def _variances(rows: pd.DataFrame, measure: str, random: Sequence[str]) -> AdjustedVariances:
    layout = layout_of(rows, np.zeros(len(rows), dtype=np.intp), separable(rows, random))
    response = rows[measure].to_numpy()
    fits = fit_variances(layout, response[None])
    residuals, H = predicted_residuals(layout, fits, response)
    groups = rows["method"].cat.codes.to_numpy()
    return adjusted_variances(residuals, H, groups, float(fits.group_variances[0, 0]))
