"""Fast critical values for comparisons with a control or with the best, for simulation.

For m comparisons with correlation 1/2 (equal numbers of shots) the tables are exact to
1e-6; with lost shots the correlations of a trial differ a little from 1/2 and so do its
critical values (5 × 12 with 15 % lost: by about 0.5 %, tests/analysis/test_dunnett_table.py).
Reported results use the exact functions of ``multivariate_t``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline

from kit.analysis.multivariate_t import multivariate_t_ppf, multivariate_t_upper_ppf

Floats = NDArray[np.float64]
Exact = Callable[[float, Floats, float], float]

_MIN_DF = 2.0


@dataclass(frozen=True)
class CriticalTable:
    """Critical values over df for m comparisons of equal correlation 1/2.

    Between 2 df and infinity by a spline in 1/df; below 2 df exactly, one at a time.
    """

    m: int
    level: float
    exact: Exact
    log_critical: CubicSpline

    def critical(self, df: ArrayLike) -> Floats:
        """The multiplier of the SE for each df."""
        each = np.asarray(df, dtype=float)
        c = np.exp(self.log_critical(1.0 / np.maximum(each, _MIN_DF)))
        small = each < _MIN_DF
        if small.any():
            c[small] = [self.exact(self.level, _halves(self.m), float(v)) for v in each[small]]
        return np.asarray(c)


def _halves(m: int) -> Floats:
    return 0.5 * (np.eye(m) + 1.0)


def _table(m: int, level: float, exact: Exact) -> CriticalTable:
    inverse_df = 0.5 * np.linspace(0.0, 1.0, 25) ** 1.5
    with np.errstate(divide="ignore"):
        df = 1.0 / inverse_df
    critical = [exact(level, _halves(m), float(v)) for v in df]
    return CriticalTable(m, level, exact, CubicSpline(inverse_df, np.log(critical)))


@lru_cache(maxsize=64)
def dunnett_table(m: int, level: float = 0.95) -> CriticalTable:
    """Two-sided: m methods against one control."""
    return _table(m, level, multivariate_t_ppf)


@lru_cache(maxsize=64)
def best_table(m: int, level: float = 0.95) -> CriticalTable:
    """One-sided: one method against the m others, for the set that may be the best (Hsu)."""
    return _table(m, level, multivariate_t_upper_ppf)
