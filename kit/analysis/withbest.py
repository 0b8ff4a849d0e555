"""Multiple comparisons with the best: which methods may be the one that came out on top.

Source: Hsu (1984), Annals of Statistics 12, 1136-1144; Hsu (1996), Multiple Comparisons,
section 4.2 for unequal variances and correlations of the comparisons: each level in turn is
taken as the control of one-sided Dunnett comparisons, with its own correlations.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from kit.analysis.distributions import multivariate_t_upper_ppf, multivariate_t_upper_sf
from kit.analysis.mixedmodel import KENWARD_ROGER, MixedModelFit, linear_functions
from kit.analysis.moments import Array
from kit.analysis.multiplicity import DF_DIGITS, correlation_of
from kit.analysis.referencegrid import mean_rows


def against_best(
    fit: MixedModelFit,
    factor: str | Sequence[str],
    higher_is_better: bool = True,
    df_method: str = KENWARD_ROGER,
    level: float = 0.95,
) -> pd.DataFrame:
    """Each level against the best of the others, with Hsu's constrained intervals.

    Columns: ``level``; ``estimate, se, df, t`` of its difference from the best other level;
    ``p_adjusted``, the smallest error rate at which it is ruled out as the best; ``lower,
    upper`` of its difference from the best of the others (one limit is zero once the level
    is out, or is alone in the set); ``may_be_best``. The set of levels that may be the best
    holds the truly best one with at least the stated confidence.
    """
    labels, rows = mean_rows(fit.fixed, factor)
    sign = 1.0 if higher_is_better else -1.0
    own = [_above(fit, sign * rows, i, df_method, level) for i in range(len(labels))]
    estimate, se, df, critical, p = (np.array(each) for each in zip(*own, strict=True))
    reach = np.nanmin(-estimate + critical * se, axis=1)
    may_be_best = reach > 0.0
    upper = np.maximum(reach, 0.0)
    # row j, column i: how far level i may lie below candidate j
    fall = np.where(may_be_best[:, None], estimate - critical * se, np.nan)
    alone = may_be_best & (may_be_best.sum() == 1)
    lower = np.minimum(np.nanmin(np.where(alone, 0.0, fall), axis=0), 0.0)
    rival = np.nanargmax(estimate, axis=1)
    at = np.arange(len(labels)), rival
    limits = (lower, upper) if higher_is_better else (-upper, -lower)
    return pd.DataFrame(
        {
            "level": labels,
            "estimate": -sign * estimate[at],
            "se": se[at],
            "df": df[at],
            "t": -sign * estimate[at] / se[at],
            "p_adjusted": np.nanmin(p, axis=1),
            "lower": limits[0],
            "upper": limits[1],
            "may_be_best": may_be_best,
        }
    )


def _above(
    fit: MixedModelFit, rows: Array, i: int, df_method: str, level: float
) -> tuple[Array, Array, Array, Array, Array]:
    """How far every other level lies above level i: estimate, se, df, critical value, p.

    Each has length k with NaN at i; critical value and p are one-sided for the family.
    """
    others = np.arange(len(rows)) != i
    differences = rows[others] - rows[i]
    table = linear_functions(fit, differences, df_method, level)
    correlation = correlation_of(fit.precision(df_method).covariance_of(differences))
    df = np.round(table["df"].to_numpy(), DF_DIGITS)
    known = {v: multivariate_t_upper_ppf(level, correlation, v) for v in np.unique(df)}
    filled = []
    for values in (
        table["estimate"].to_numpy(),
        table["se"].to_numpy(),
        df,
        np.array([known[v] for v in df]),
        np.array(
            [
                multivariate_t_upper_sf(t, correlation, v)
                for t, v in zip(table["t"], df, strict=True)
            ]
        ),
    ):
        full = np.full(len(rows), np.nan)
        full[others] = values
        filled.append(full)
    return filled[0], filled[1], filled[2], filled[3], filled[4]
