"""Consistency: the shot-to-shot SD of each method, adjusted for sessions and blocks.

The SD is the repeatability SD of ISO 5725-1: the spread of shots pulled with one method under
conditions held as still as one block holds them. Ranges are never used: a range grows with the
number of shots.

A shot's residual is what is left when the mean of its method and the predicted shifts of its
session and block are taken away (predictions of the mixed model with one common SD s₀, shrunk as
far as blocks really differ). With e = H y, h_m = Σ H_ii over the shots of method m and
A_ml = Σ H_ij² over the shots of m and l, v_m = Σe²/h_m. Blocks take a little of one method's
spread and give it to the others of the block; to first order in log s²,

    log(v/s₀²) = diag(1/h) A log(s²/s₀²),      Cov(log s²) = 2 A⁻¹ / δ,

the first being solved for s², the second the inverse REML information with block variances held.
δ = 2/(kurtosis − 1), one at most, corrects for shots that are not normal (Box & Andersen 1955,
J. R. Statist. Soc. B 17, 1–34), with the kurtosis about medians pooled over methods (Layard 1973,
J. Amer. Statist. Assoc. 68, 195–198). Without blocks and with normal shots all this is the
textbook SD, its chi-square interval, the F test, and Bartlett's.

The test was chosen among nine by a simulation of level and power for normal, long-tailed and
skewed shots: ``tests/benchmarks/consistency.py``, where what it printed is written down.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

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
_HARDLY_SEPARABLE = 0.05
"""Share of a difference in log SD that must survive the adjustment for blocks."""

Array = NDArray[np.floating]


@dataclass(frozen=True)
class SpreadTest:
    """A test that all methods are equally consistent."""

    statistic: float
    df: int
    p: float


@dataclass(frozen=True)
class _Spread:
    """Log variances of the methods and their precision; symbols as in the module's head."""

    methods: list[str]
    counts: Array
    log_v: Array
    log_s2: Array
    h: Array
    A: Array
    A_inverse: Array
    delta: float


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
    spread = _spread(_rows(table, measure, random), measure, random)
    sd, df = np.exp(spread.log_s2 / 2), spread.delta / np.diag(spread.A_inverse)
    tail = (1 - level) / 2
    upper = sd * np.sqrt(df / stats.chi2.ppf(tail, df))
    return pd.DataFrame(
        {
            "method": spread.methods,
            "n": spread.counts.astype(int),
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
    two_methods_or_more(rows, "consistency")
    spread = _spread(rows, measure, random)
    a, b = np.array(pair_positions(len(spread.methods))).T
    with np.errstate(invalid="ignore"):  # two methods that never varied have no ratio
        log_ratio = spread.log_s2[a] - spread.log_s2[b]
    known = np.isfinite(log_ratio)
    shift = np.where(known, log_ratio, 0.0)
    survives, df_a, df_b = _pair_precision(spread, a, b)
    seen = survives * shift
    p = 2 * np.minimum(stats.f.sf(np.exp(seen), df_a, df_b), stats.f.cdf(np.exp(seen), df_a, df_b))
    p = np.where(known, np.minimum(p, 1.0), 1.0)
    tail = (1 - level) / 2 / len(a)
    down, up = (
        np.where(known, np.log(stats.f.isf(tail, one, other)) / survives, np.inf)
        for one, other in ((df_a, df_b), (df_b, df_a))
    )
    return pd.DataFrame(
        {
            "a": [spread.methods[i] for i in a],
            "b": [spread.methods[i] for i in b],
            "ratio": np.exp(log_ratio / 2),
            "lower": np.exp((shift - down) / 2),
            "upper": np.exp((shift + up) / 2),
            "p": p,
            "p_adjusted": holm_p(np.asarray(p)),
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
    spread = _spread(rows, measure, random)
    varied = np.isfinite(spread.log_v)
    k = int(varied.sum())
    if k < 2:
        raise ModelError("Fewer than two methods varied at all, so their spread cannot be tested.")
    others = (spread.A.sum(axis=1) - np.diag(spread.A)) / max(len(spread.methods) - 1, 1)
    df = (spread.h**2 / (np.diag(spread.A) - others))[varied]
    log_v = spread.log_v[varied]
    pooled = np.log(df @ np.exp(log_v) / df.sum())
    scale = 1 + ((1 / df).sum() - 1 / df.sum()) / (3 * (k - 1))
    statistic = float(spread.delta * (df.sum() * pooled - df @ log_v) / scale)
    return SpreadTest(statistic, k - 1, float(stats.chi2.sf(statistic, k - 1)))


def _pair_precision(
    spread: _Spread, a: NDArray[np.integer], b: NDArray[np.integer]
) -> tuple[Array, Array, Array]:
    """How much of a pair's log ratio survives in the residuals, and the F test's df.

    2/df_a + 2/df_b is the variance of log v_a − log v_b; the root of its share of the variance of
    log s²_a − log s²_b is what survives.
    """
    covariance = spread.A / np.outer(spread.h, spread.h)
    inverse = spread.A_inverse
    variance_v = covariance[a, a] + covariance[b, b] - 2 * covariance[a, b]
    variance_s = inverse[a, a] + inverse[b, b] - 2 * inverse[a, b]
    df_a = spread.delta / (covariance[a, a] - covariance[a, b])
    df_b = spread.delta / (covariance[b, b] - covariance[a, b])
    return np.sqrt(variance_v / variance_s), df_a, df_b


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


def _spread(rows: pd.DataFrame, measure: str, random: Sequence[str]) -> _Spread:
    groups = rows["method"].cat.codes.to_numpy()
    layout = layout_of(rows, np.zeros(len(rows), dtype=np.intp), separable(rows, random))
    response = rows[measure].to_numpy()
    fits = fit_variances(layout, response[None])
    residuals, H = predicted_residuals(layout, fits, response)
    chosen = np.eye(len(rows["method"].cat.categories))[groups]
    h, A = np.diag(H) @ chosen, chosen.T @ H**2 @ chosen
    if np.linalg.eigvalsh(A / np.sqrt(np.outer(h, h))).min() < _HARDLY_SEPARABLE:
        raise ModelError(
            "Within these blocks the spread of one method cannot be told from that of another: "
            "what one shot of a block misses, the others seem to gain. Blocks differ far more "
            "than shots do, or hold too few shots. More methods or shots in a block would help."
        )
    # A method whose shots are equal but for rounding has no spread: log variance −∞.
    sums = residuals**2 @ chosen
    sums = np.where(sums > 1e-20 * (response @ response), sums, 0.0)
    with np.errstate(divide="ignore"):
        log_v = np.log(sums / h)
    log_s0 = np.log(fits.group_variances[0, 0])
    varied = np.isfinite(log_v)
    log_s2 = np.full(len(h), -np.inf)
    inner = A[np.ix_(varied, varied)]
    log_s2[varied] = log_s0 + np.linalg.solve(inner, h[varied] * (log_v[varied] - log_s0))
    return _Spread(
        methods=[str(name) for name in rows["method"].cat.categories],
        counts=chosen.sum(axis=0),
        log_v=log_v,
        log_s2=log_s2,
        h=h,
        A=A,
        A_inverse=np.linalg.inv(A),
        delta=_correction(residuals, chosen),
    )


def _correction(residuals: Array, chosen: Array) -> float:
    """δ = 2/(kurtosis − 1), at most 1; the kurtosis is made unbiased for normal shots."""
    counts = chosen.sum(axis=0)
    median = np.array([np.median(residuals[column > 0]) for column in chosen.T])
    off = residuals - chosen @ median
    squares = off**2 @ chosen
    n = counts.mean()
    kurtosis = (off**4).sum() / (squares**2 / counts).sum() * (n + 1) / (n - 1)
    return float(min(2 / (kurtosis - 1), 1.0)) if kurtosis > 1 else 1.0
