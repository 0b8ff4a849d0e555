"""Adjusted p values and multipliers of the standard error for families of comparisons.

Each function returns ``(p_adjusted, critical)``: the second times the standard error is
the half-width of the simultaneous interval. Where the comparisons have different degrees
of freedom each uses its own, in the distribution of the family.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy import stats

from kit.analysis.distributions import (
    multivariate_t_ppf,
    multivariate_t_sf,
    studentized_range_ppf,
    studentized_range_sf,
)
from kit.analysis.moments import Array

Adjusted = tuple[Array, Array]
NARROW = 1.05  # ratio of the largest df to the smallest within which to interpolate
DF_DIGITS = 9  # df equal to this many decimals share one critical value


def unadjusted(t: Array, df: Array, level: float) -> Adjusted:
    """Each comparison on its own (two-sided t)."""
    return two_sided(t, df), np.asarray(stats.t.ppf((1.0 + level) / 2.0, df))


def holm(t: Array, df: Array, level: float) -> Adjusted:
    """Holm (1979, Scand. J. Statist. 6, 65-70), with Bonferroni limits.

    Holm's step-down procedure has no simple simultaneous interval; Bonferroni's is valid
    for the same family and a little wider.
    """
    critical = np.asarray(stats.t.isf((1.0 - level) / (2.0 * len(t)), df))
    return holm_p(two_sided(t, df)), critical


def two_sided(t: Array, df: Array) -> Array:
    """Two-sided p of t statistics."""
    return np.asarray(2.0 * stats.t.sf(np.abs(t), df))


def holm_p(p: Array) -> Array:
    """Holm's adjusted p values, in the order given."""
    order = np.argsort(p, kind="stable")
    steps = np.maximum.accumulate(p[order] * np.arange(len(p), 0, -1))
    adjusted = np.empty_like(p)
    adjusted[order] = np.minimum(steps, 1.0)
    return adjusted


def tukey(t: Array, df: Array, k: int, level: float) -> Adjusted:
    """All pairs of k means: Tukey (1953), Kramer (1956, Biometrics 12, 307-310)."""
    root = np.sqrt(2.0)
    own = np.round(df, DF_DIGITS)
    p = studentized_range_sf(root * np.abs(t), k, own)
    return p, studentized_range_ppf(level, k, own) / root


def dunnett(t: Array, df: Array, correlation: Array, level: float) -> Adjusted:
    """Against one control: the exact two-sided multivariate t (Dunnett 1955, JASA 50, 1096-1121).

    ``correlation`` is that of the estimated comparisons, however unbalanced.
    """
    own = np.round(df, DF_DIGITS)
    p = np.array([multivariate_t_sf(abs(a), correlation, v) for a, v in zip(t, own, strict=True)])
    return p, critical_values(lambda v: multivariate_t_ppf(level, correlation, v), own)


def critical_values(quantile: Callable[[float], float], df: Array) -> Array:
    """The critical value for each df of a family, computed no oftener than needed.

    Lost shots give every comparison its own df, all within a few per cent: the quantile is
    then computed at three of them and interpolated in 1/df, on which it is so nearly
    straight that the error stays below 1e-6 (measured in tests/analysis/test_contrasts.py).
    """
    distinct = np.unique(df)
    if len(distinct) <= 3 or distinct[-1] > NARROW * distinct[0]:
        known = {v: quantile(float(v)) for v in distinct}
        return np.array([known[v] for v in df])
    x = 1.0 / np.array([distinct[0], (distinct[0] + distinct[-1]) / 2.0, distinct[-1]])
    at = [quantile(float(1.0 / each)) for each in x]
    first = (at[1] - at[0]) / (x[1] - x[0])
    second = ((at[2] - at[1]) / (x[2] - x[1]) - first) / (x[2] - x[0])
    z = 1.0 / df
    return np.asarray(at[0] + (z - x[0]) * (first + (z - x[1]) * second))


def correlation_of(covariance: Array) -> Array:
    """Covariance → correlation matrix."""
    size = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(size, size)
    np.fill_diagonal(correlation, 1.0)
    return (correlation + correlation.T) / 2.0
