"""The studentized range: all pairs of k means at once (Tukey 1953; Kramer 1956).

Q = (largest - smallest of k independent standard normals) / S. These are the exact functions for
reported results; ``range_table`` holds the fast ones for simulation.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from kit.analysis.chi_scale import check_df, check_level, invert_tail, student_tail
from kit.errors import ModelError

Floats = NDArray[np.float64]

_STEP = 0.2
_Z = np.arange(-9.0, 15.0, _STEP)
_DENSITY = _STEP * np.exp(-0.5 * _Z**2) / np.sqrt(2.0 * np.pi)
_BELOW = ndtr(_Z)


def range_sf(w: ArrayLike, k: int) -> Floats:
    """P(range of ``k`` standard normals > w), accurate in the relative sense.

    The difference of k phi Phi^(k-1) and k phi (Phi(z) - Phi(z-w))^(k-1) is integrated in
    one piece, so small tails are not lost to cancellation.
    """
    width = np.asarray(w, dtype=float)[..., None]
    share = ndtr(_Z - width) / _BELOW
    with np.errstate(divide="ignore"):  # w = 0 gives log(0): the range always exceeds it
        missing = -np.expm1((k - 1) * np.log1p(-np.minimum(share, 1.0)))
    return np.asarray(missing @ (k * _DENSITY * _BELOW ** (k - 1)))


def check_means(k: int) -> int:
    """The number of means as an int, or our own error below two."""
    if int(k) != k or k < 2:
        raise ModelError(f"A comparison of all pairs needs at least two methods, found {k}.")
    return int(k)


def one_range_sf(q: float, k: int, df: float) -> float:
    """P(Q > q) for one q and one df."""
    if np.isnan(q):
        return float("nan")
    if q <= 0.0:
        return 1.0
    return student_tail(lambda w: range_sf(w, k), q, df)


def studentized_range_sf(q: ArrayLike, k: int, df: ArrayLike) -> Floats:
    """P(Q > q) for ``k`` means and ``df`` degrees of freedom (fractional or infinite allowed).

    ``q`` and ``df`` are broadcast; absolute error below 1e-12. For the Tukey-Kramer p of a
    t statistic give ``q = sqrt(2) * abs(t)``. Raises ModelError for k < 2 or df <= 0.
    """
    groups = check_means(k)
    pairs = np.broadcast_arrays(np.asarray(q, dtype=float), np.asarray(df, dtype=float))
    values = [
        one_range_sf(abs(float(a)), groups, check_df(b))
        for a, b in zip(pairs[0].ravel(), pairs[1].ravel(), strict=True)
    ]
    return np.array(values, dtype=float).reshape(pairs[0].shape)


def studentized_range_ppf(level: float, k: int, df: ArrayLike) -> Floats:
    """The q with P(Q <= q) = ``level``; for simultaneous limits use q / sqrt(2) as the multiplier.

    Raises ModelError for a level outside (0, 1), k < 2 or df <= 0.
    """
    groups, alpha = check_means(k), 1.0 - check_level(level)
    each = np.asarray(df, dtype=float)
    q = [_ppf_one(alpha, groups, check_df(v)) for v in each.ravel()]
    return np.array(q, dtype=float).reshape(each.shape)


@lru_cache(maxsize=4096)
def _ppf_one(alpha: float, k: int, df: float) -> float:
    return invert_tail(lambda q: one_range_sf(q, k, df), alpha, (0.5, 6.0))
