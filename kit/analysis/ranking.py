"""Ranking tests: who prefers what, when only the order of the cups can be trusted.

Friedman's test with ties, the least significant difference of rank sums of ISO 8587, and Page's
test for an order expected beforehand. Tasters are the blocks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from scipy import stats

from kit.analysis.multiplicity import holm_p
from kit.analysis.usable import pair_positions, two_methods_or_more, usable_rows
from kit.errors import DataError, ModelError


@dataclass(frozen=True)
class RankingResult:
    """Friedman's test and what stands on it.

    ``rank_sums``: columns ``method, n, rank_sum, mean_rank`` (rank 1 = lowest score). ``pairs``:
    ``a, b, difference, lsd, p, p_adjusted``, differences of rank sums; ``lsd`` is for one pair
    named beforehand, ``p_adjusted`` (Holm) for all pairs together. ``set_aside``: tasters without
    a score for every method, who cannot be ranked.
    """

    tasters: int
    chi_square: float
    df: int
    p: float
    f: float
    p_f: float
    kendall_w: float
    rank_sums: pd.DataFrame
    pairs: pd.DataFrame
    set_aside: tuple[str, ...]


def ranking_test(
    table: pd.DataFrame, measure: str = "score", block: str = "taster", level: float = 0.95
) -> RankingResult:
    """Rank the methods within each taster and test for differences.

    Parameters
    ----------
    table
        Tidy scores or ranks: ``method``, ``block``, ``measure``; several cups of one method from
        one taster are averaged first (they are sub-samples).

    Raises
    ------
    ModelError
        With fewer than two methods, fewer than two complete tasters, or all cups tied.
    """
    rows = usable_rows(table, measure, ["method", block])
    methods = two_methods_or_more(rows, "ranks")
    wide = rows.pivot_table(index=block, columns="method", values=measure, observed=True)
    complete = wide.dropna()
    if len(complete) < 2:
        raise ModelError(
            f"{len(complete)} of {len(wide)} tasters scored every method; ranking needs at least "
            "two who did. Use the score model, which takes incomplete sets."
        )
    ranks = stats.rankdata(complete.to_numpy(), axis=1)
    return _ranking(ranks, methods, tuple(map(str, wide.index[wide.isna().any(axis=1)])), level)


def _ranking(
    ranks: np.ndarray, methods: Sequence[str], set_aside: tuple[str, ...], level: float
) -> RankingResult:
    n, k = ranks.shape
    variance = ranks.var(axis=1, ddof=1).sum()
    if variance == 0:
        raise ModelError("Every taster gave all methods the same score; there is no order to test.")
    sums = ranks.sum(axis=0)
    chi_square = float(np.sum((sums - n * (k + 1) / 2) ** 2) / variance)
    w = chi_square / (n * (k - 1))
    f = float((n - 1) * chi_square / (n * (k - 1) - chi_square)) if w < 1 else np.inf
    return RankingResult(
        tasters=n,
        chi_square=chi_square,
        df=k - 1,
        p=float(stats.chi2.sf(chi_square, k - 1)),
        f=f,
        p_f=float(stats.f.sf(f, k - 1, (n - 1) * (k - 1))),
        kendall_w=w,
        rank_sums=pd.DataFrame(
            {"method": list(methods), "n": n, "rank_sum": sums, "mean_rank": sums / n}
        ),
        pairs=_rank_pairs(sums, variance, methods, level),
        set_aside=set_aside,
    )


def _rank_pairs(
    sums: np.ndarray, variance: float, methods: Sequence[str], level: float
) -> pd.DataFrame:
    """Differences of rank sums; without ties 2 × variance is n k (k + 1) / 6, as in ISO 8587."""
    a, b = np.array(pair_positions(len(methods))).T
    difference = sums[a] - sums[b]
    se = np.sqrt(2 * variance)
    p = 2 * stats.norm.sf(np.abs(difference) / se)
    return pd.DataFrame(
        {
            "a": [methods[i] for i in a],
            "b": [methods[i] for i in b],
            "difference": difference,
            "lsd": stats.norm.isf((1 - level) / 2) * se,
            "p": p,
            "p_adjusted": holm_p(p),
        }
    )


def rank_sum_lsd(tasters: int, methods: int, level: float = 0.95) -> float:
    """The least significant difference of two rank sums: z √(j p (p + 1) / 6) (ISO 8587)."""
    if tasters < 1 or methods < 2:
        raise DataError(f"{tasters} tasters and {methods} methods cannot be ranked.")
    z = stats.norm.isf((1 - level) / 2)
    return float(z * np.sqrt(tasters * methods * (methods + 1) / 6))


def page_test(ranks: np.ndarray) -> tuple[float, float]:
    """Page's L and its one-sided p for the order of the columns, expected to rise.

    ``ranks`` (or scores): tasters × methods, columns in the expected order. Exact without ties
    for small tables, else normal (Page 1963, J. Amer. Statist. Assoc. 58, 216–230; scipy).
    """
    ranks = stats.rankdata(np.asarray(ranks, dtype=float), axis=1)
    tied = any(len(np.unique(row)) < len(row) for row in ranks)
    large = ranks.shape[0] > 12 or ranks.shape[1] > 8
    method: Literal["asymptotic", "exact"] = "asymptotic" if tied or large else "exact"
    result = stats.page_trend_test(ranks, ranked=True, method=method)
    return float(result.statistic), float(result.pvalue)
