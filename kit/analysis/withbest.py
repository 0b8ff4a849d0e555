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
from kit.analysis.multiplicity import DF_DIGITS, correlation_of, critical_values
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
    estimate, se, df, critical, p = np.array(own).transpose(1, 0, 2)
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


def _above(fit: MixedModelFit, rows: Array, i: int, df_method: str, level: float) -> Array:
    """How far every other level lies above level i: 5 × k, with NaN at i.

    The rows are estimate, se, df and, one-sided for the family, critical value and p.
    """
    others = np.arange(len(rows)) != i
    differences = rows[others] - rows[i]
    table = linear_functions(fit, differences, df_method, level)
    t, df = table["t"].to_numpy(), np.round(table["df"].to_numpy(), DF_DIGITS)
    correlation = correlation_of(fit.precision(df_method).covariance_of(differences))
    found = np.full((5, len(rows)), np.nan)
    found[0, others] = table["estimate"]
    found[1, others] = table["se"]
    found[2, others] = df
    found[3, others] = critical_values(
        lambda v: multivariate_t_upper_ppf(level, correlation, v), df
    )
    found[4, others] = _one_sided_p(t, df, correlation)
    return found


def _one_sided_p(t: Array, df: Array, correlation: Array) -> Array:
    """One-sided p of each comparison in its family; NaN where another is surely smaller.

    Only the smallest p decides. It falls with t and, for t > 0, with df; and at t = 0 it does
    not depend on df. So a comparison behind another in both, or not above zero where another
    is, need not be integrated; where none is above zero (p is then above one half) the nearest
    decides.
    """
    p = np.full(len(t), np.nan)
    for j in range(len(t)) if np.any(t > 0) else [int(np.argmax(t))]:
        ahead = (t > 0) & (t >= t[j]) & ((df >= df[j]) | (t[j] <= 0)) & ((t > t[j]) | (df > df[j]))
        if not np.any(ahead):
            p[j] = multivariate_t_upper_sf(t[j], correlation, df[j])
    return p
