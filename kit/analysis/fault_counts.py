"""Faults counted shot by shot: means, and ratios of means.

Faults come in bunches (one bad puck jets in three places), so counts spread more than Poisson's.
Intervals therefore divide counts by the dispersion φ found in the shots (quasi-Poisson: McCullagh
& Nelder 1989, section 6.2.4), never taken below one; p values come from the exact permutation
within strata, which needs no distribution at all.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import stats

from kit.analysis.defects import counted_faults
from kit.analysis.exact import exact_sum_p
from kit.analysis.multiplicity import holm_p
from kit.analysis.usable import pair_positions, two_methods_or_more


def count_means(table: pd.DataFrame, measure: str = "faults", level: float = 0.95) -> pd.DataFrame:
    """Faults a shot: ``method, n, faults, mean, dispersion, lower, upper``.

    Limits are exact Poisson limits (Garwood 1936, Biometrika 28, 437-442) of the count over φ,
    times φ. With none seen the upper limit stays: none of ten still allows 0.37 φ a shot.
    """
    rows = counted_faults(table, measure)
    phi = dispersion(rows, measure)
    tail = (1 - level) / 2
    grouped = rows.groupby("method", observed=True)[measure].agg(["size", "sum"])
    n, total = grouped["size"].to_numpy(), grouped["sum"].to_numpy()
    scaled = total / phi
    lower = np.where(total > 0, stats.chi2.ppf(tail, np.maximum(2 * scaled, 1e-9)) / 2, 0.0)
    return pd.DataFrame(
        {
            "method": grouped.index.astype(str),
            "n": n,
            "faults": total.astype(int),
            "mean": total / n,
            "dispersion": phi,
            "lower": phi * lower / n,
            "upper": phi * stats.chi2.isf(tail, 2 * scaled + 2) / 2 / n,
        }
    )


def count_ratios(
    table: pd.DataFrame, measure: str = "faults", strata: str | None = None, level: float = 0.95
) -> pd.DataFrame:
    """Ratios of faults a shot for all pairs: ``a, b, ratio, lower, upper, p, p_adjusted``.

    Limits from the share of a's faults among both, exact binomial (Przyborowski & Wilenski 1940,
    Biometrika 31, 313-323) on counts over φ, simultaneous by Bonferroni; ``p`` by permutation
    within strata, exact; ``p_adjusted`` by Holm. Where neither shows a fault nothing is known.
    """
    rows = counted_faults(table, measure, ["method"] if strata is None else ["method", strata])
    methods = two_methods_or_more(rows, "faults")
    phi = dispersion(rows, measure)
    pairs = pair_positions(len(methods))
    tail = (1 - level) / 2 / len(pairs)
    ratios = pd.DataFrame(
        [_ratio(rows, measure, (methods[i], methods[j]), strata, phi, tail) for i, j in pairs]
    )
    ratios["p_adjusted"] = holm_p(ratios["p"].to_numpy())
    return ratios


def dispersion(rows: pd.DataFrame, measure: str = "faults") -> float:
    """Pearson's dispersion of counts within methods, at least 1 (Poisson)."""
    mean = rows.groupby("method", observed=True)[measure].transform("mean").to_numpy()
    counts = rows[measure].to_numpy()
    shown = mean > 0
    df = len(rows) - rows["method"].nunique()
    if df < 1:
        return 1.0
    return float(max(((counts - mean)[shown] ** 2 / mean[shown]).sum() / df, 1.0))


def _ratio(
    rows: pd.DataFrame,
    measure: str,
    pair: tuple[str, str],
    strata: str | None,
    phi: float,
    tail: float,
) -> dict[str, object]:
    shots = rows[rows["method"].astype(str).isin(pair)]
    is_a = shots["method"].astype(str).eq(pair[0]).to_numpy()
    counts = shots[measure].to_numpy()
    x, y = counts[is_a].sum() / phi, counts[~is_a].sum() / phi
    exposure = (~is_a).sum() / is_a.sum()
    low = stats.beta.ppf(tail, x, y + 1) if x > 0 else 0.0
    high = stats.beta.isf(tail, x + 1, y) if y > 0 else 1.0
    groups = np.zeros(len(shots)) if strata is None else shots[strata].cat.codes.to_numpy()
    seen = x + y > 0
    return {
        "a": pair[0],
        "b": pair[1],
        "ratio": exposure * (x / y if y > 0 else np.inf) if seen else np.nan,
        "lower": exposure * low / (1 - low),
        "upper": exposure * high / (1 - high) if high < 1 else np.inf,
        "p": exact_sum_p(counts, is_a, groups),
    }
