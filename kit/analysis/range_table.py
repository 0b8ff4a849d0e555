"""Tables of the studentized range, for simulation: millions of decisions at a time.

An error of 1e-6 in a p value is far below the Monte Carlo error of any simulation; reported
results use the exact functions of ``studentized_range``.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline, RectBivariateSpline

from kit.analysis.chi_scale import check_level
from kit.analysis.studentized_range import (
    check_means,
    one_range_sf,
    studentized_range_ppf,
    studentized_range_sf,
)

Floats = NDArray[np.float64]

_TABLE_MIN_DF = 2.0
_TABLE_MAX_Q = 40.0


@dataclass(frozen=True)
class StudentizedRangeTable:
    """Splines for one k: fast p values and critical values for arrays of q and df.

    Absolute error of ``sf`` below 5e-6 and of ``critical`` below 1e-6 relative, for df from 2
    up (tests/analysis/test_studentized_range.py measures both); below 2 the exact functions
    are called, one value at a time.
    """

    k: int
    level: float
    log_sf: RectBivariateSpline
    log_critical: CubicSpline

    def sf(self, q: ArrayLike, df: ArrayLike) -> Floats:
        """P(Q > q), interpolated on the log scale over (q, 1/df)."""
        width, each = np.broadcast_arrays(
            np.abs(np.asarray(q, dtype=float)), np.asarray(df, dtype=float)
        )
        inside = np.minimum(width, _TABLE_MAX_Q)
        log_p = self.log_sf.ev(_stretch(inside), 1.0 / np.maximum(each, _TABLE_MIN_DF))
        p = np.minimum(np.exp(log_p), 1.0)
        beyond = (each < _TABLE_MIN_DF) | (width > _TABLE_MAX_Q)
        if beyond.any():
            p[beyond] = studentized_range_sf(width[beyond], self.k, each[beyond])
        return np.asarray(p)

    def critical(self, df: ArrayLike) -> Floats:
        """The q exceeded with probability 1 - level, for each df."""
        each = np.asarray(df, dtype=float)
        q = np.exp(self.log_critical(1.0 / np.maximum(each, _TABLE_MIN_DF)))
        small = each < _TABLE_MIN_DF
        if small.any():
            q = np.where(small, 0.0, q)
            q[small] = studentized_range_ppf(self.level, self.k, each[small])
        return np.asarray(q)


def _stretch(q: Floats) -> Floats:
    """Even spacing on this scale puts the grid where log p bends."""
    return np.asarray(np.log1p(q / 3.0))


@lru_cache(maxsize=64)
def studentized_range_table(k: int, level: float = 0.95) -> StudentizedRangeTable:
    """The table for ``k`` means at ``level``; built once (about 0.2 s) and kept."""
    groups = check_means(k)
    check_level(level)
    x = np.linspace(0.0, float(_stretch(np.array(_TABLE_MAX_Q))), 61)
    inverse_df = 0.5 * np.linspace(0.0, 1.0, 25) ** 1.5
    q = 3.0 * np.expm1(x)
    with np.errstate(divide="ignore"):
        df = 1.0 / inverse_df
    tiny = 1e-300
    grid = np.array([[max(one_range_sf(a, groups, b), tiny) for b in df] for a in q])
    critical = studentized_range_ppf(level, groups, df)
    return StudentizedRangeTable(
        k=groups,
        level=level,
        log_sf=RectBivariateSpline(x, inverse_df, np.log(grid), kx=5, ky=5, s=0),
        log_critical=CubicSpline(inverse_df, np.log(critical)),
    )
