"""The multivariate t: comparisons with one control (Dunnett 1955) or with the best (Hsu 1984).

T_i = Z_i / S with Z normal, unit variances and correlation matrix R. Where R has product
form, R_ij = b_i b_j (every complete or balanced design), the probability given S is a
one-dimensional integral (Dunnett 1955). Otherwise the nearest product form is computed
exactly and the small remainder by the deterministic rules of ``normal_box``: the same
number on every machine.

``multivariate_t_sf`` and ``multivariate_t_ppf`` are two-sided (max |T_i|: Dunnett);
``multivariate_t_upper_sf`` and ``multivariate_t_upper_ppf`` one-sided (max T_i: Hsu).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from kit.analysis.chi_scale import (
    check_df,
    check_level,
    invert_tail,
    log_scale_nodes,
    student_tail,
)
from kit.analysis.normal_box import TWO_SIDED, UPPER, Side, expansion, lattice_difference
from kit.errors import ModelError

Floats = NDArray[np.float64]

_PRODUCT_TOLERANCE = 1e-12
_LARGEST_LOADING = 0.999
# The expansion is used while its fourth order stays below these.
_FEW_CONTRASTS = 6
_EXPANSION_TRUSTED = 1e-7
_TRUSTED_WHEN_MANY = 1e-5
_SOLVED = 1e-11
"""The relative error of p to which a critical value is solved."""


def multivariate_t_sf(t: float, correlation: ArrayLike, df: float) -> float:
    """P(max_i |T_i| > ``t``): Dunnett's two-sided adjusted p for a contrast with |t| = ``t``.

    ``correlation`` is the (m, m) matrix of the m contrasts, ``df`` fractional or infinite.
    Absolute error below 1e-12 for product form, 1e-9 with lost shots, 1e-6 (up to 6 contrasts)
    or 1e-4 (more) where the correlations are far from it. Raises ModelError for a matrix that
    is not a correlation matrix and for df <= 0.
    """
    return _sf(abs(float(t)), _checked(correlation), check_df(df), TWO_SIDED)


def multivariate_t_ppf(level: float, correlation: ArrayLike, df: float) -> float:
    """The c with P(max_i |T_i| <= c) = ``level``: multiplier of the SE for simultaneous limits."""
    R, value = _checked(correlation), check_df(df)
    alpha = 1.0 - check_level(level)
    low = -float(stdtrit(value, alpha / 2.0))
    high = -float(stdtrit(value, alpha / 2.0 / R.shape[0]))
    return _ppf(alpha, R, value, TWO_SIDED, (low, high))


def multivariate_t_upper_sf(t: float, correlation: ArrayLike, df: float) -> float:
    """P(max_i T_i > ``t``): one-sided comparisons with a control or with the best."""
    return _sf(float(t), _checked(correlation), check_df(df), UPPER)


def multivariate_t_upper_ppf(level: float, correlation: ArrayLike, df: float) -> float:
    """The c with P(max_i T_i <= c) = ``level``, one-sided."""
    R, value = _checked(correlation), check_df(df)
    alpha = 1.0 - check_level(level)
    low = -float(stdtrit(value, alpha))
    high = -float(stdtrit(value, alpha / R.shape[0]))
    return _ppf(alpha, R, value, UPPER, (low, high))


def _checked(correlation: ArrayLike) -> Floats:
    R = np.array(correlation, dtype=float)
    if R.ndim != 2 or R.shape[0] != R.shape[1] or R.shape[0] == 0:
        raise ModelError(f"A correlation matrix must be square, found the shape {R.shape}.")
    if not np.all(np.isfinite(R)) or np.abs(R - R.T).max() > 1e-8:
        raise ModelError("A correlation matrix must be symmetric and hold finite numbers only.")
    if np.abs(np.diag(R) - 1.0).max() > 1e-8 or np.linalg.eigvalsh(R)[0] < 1e-10:
        raise ModelError(
            "The comparisons are not linearly independent, or their correlation matrix does not "
            "have ones on the diagonal. Leave out the comparison that follows from the others."
        )
    return R


def _sf(t: float, R: Floats, df: float, side: Side) -> float:
    if np.isnan(t):
        return float("nan")
    loading = _nearest_loading(R)
    p = student_tail(lambda w: _product_tail(w, loading, side), t, df)
    if R.shape[0] == 1 or _is_product(R, loading):
        return p
    return float(min(max(p + _remainder(t, R, loading, df, side), 0.0), 1.0))


def _ppf(alpha: float, R: Floats, df: float, side: Side, bracket: tuple[float, float]) -> float:
    """Solve for the product form, then correct by secant steps on the scale of log p.

    The slope of the product form serves the first step; it is so nearly right that after the
    second evaluation of the remainder one more step ends below ``_SOLVED``.
    """
    loading = _nearest_loading(R)

    def product(t: float) -> float:
        return student_tail(lambda w: _product_tail(w, loading, side), t, df)

    root = invert_tail(product, alpha, bracket)
    if R.shape[0] == 1 or _is_product(R, loading):
        return root

    def gap(t: float) -> float:
        return float(np.log((product(t) + _remainder(t, R, loading, df, side)) / alpha))

    slope = float(np.log(product(root + 1e-4) / product(root - 1e-4)) / 2e-4)
    error = gap(root)
    for _ in range(4):
        if abs(error) < _SOLVED:
            break
        step = -error / slope
        left = gap(root + step)
        slope, root = (left - error) / step, root + step
        if left * left < _SOLVED * abs(error):  # the error shrinks by the same factor again
            return float(root - left / slope)
        error = left
    return root


def _nearest_loading(R: Floats) -> Floats:
    """The b whose products come nearest to the off-diagonal of R (exact where one exists)."""
    return np.frombuffer(_loading_of(R.tobytes(), R.shape[0]))


@lru_cache(maxsize=256)
def _loading_of(matrix: bytes, m: int) -> bytes:
    R = np.frombuffer(matrix).reshape(m, m)
    if m == 1:
        return np.zeros(1).tobytes()
    off = R - np.diag(np.diag(R))
    if m == 2:
        size = np.sqrt(abs(R[0, 1]))
        b = np.array([size, size * np.sign(R[0, 1])])
    else:
        b = _triad(off)
        for _ in range(100):  # alternating least squares
            for i in range(m):
                others = np.delete(b, i)
                b[i] = np.delete(off[i], i) @ others / max(float(others @ others), 1e-12)
                b[i] = np.clip(b[i], -_LARGEST_LOADING, _LARGEST_LOADING)
            if _is_product(R, b):
                break
    return np.clip(b, -_LARGEST_LOADING, _LARGEST_LOADING).tobytes()


def _triad(off: Floats) -> Floats:
    """b_i from R_ij R_ik / R_jk with the strongest pair (j, k): exact for product form."""
    j, k = divmod(int(np.abs(off).argmax()), off.shape[0])
    i = max((x for x in range(off.shape[0]) if x not in (j, k)), key=lambda x: abs(off[x, j]))
    square = abs(off[i, j] * off[j, k]) / max(abs(off[i, k]), 1e-9)
    first = min(max(np.sqrt(square), 1e-3), _LARGEST_LOADING)
    b = off[j] / first
    b[j] = first
    return np.asarray(np.clip(b, -_LARGEST_LOADING, _LARGEST_LOADING))


def _is_product(R: Floats, loading: Floats) -> bool:
    gap = np.abs(R - np.outer(loading, loading))
    np.fill_diagonal(gap, 0.0)
    return bool(gap.max() < _PRODUCT_TOLERANCE)


def _product_tail(w: Floats, loading: Floats, side: Side) -> Floats:
    """P(some Z_i leaves its interval), R_ij = b_i b_j, by the trapezoidal rule over the factor.

    Equal loadings are computed once. The product of (1 - r_i) is taken through log1p, so
    that small tails keep their digits.
    """
    values, counts = np.unique(np.round(loading, 14), return_counts=True)
    spread = np.sqrt(1.0 - values**2)
    step = float(min(0.2, 0.5 * (spread / np.maximum(np.abs(values), 1e-9)).min()))
    z = np.arange(-8.6, 8.6 + step, step)
    log_inside = np.zeros((w.size, z.size))
    with np.errstate(divide="ignore"):  # a certain exit gives log(0), and then probability one
        for b, c, count in zip(values, spread, counts, strict=True):
            r = side.outside(w[:, None], c, b * z[None, :])
            log_inside += count * np.log1p(-np.minimum(r, 1.0))
    density = step * np.exp(-0.5 * z**2) / np.sqrt(2.0 * np.pi)
    return np.asarray(-np.expm1(log_inside) @ density)


def _remainder(t: float, R: Floats, loading: Floats, df: float, side: Side) -> float:
    """P(exit | R) - P(exit | product form): by expansion where it is safe, else by lattice."""
    if np.isinf(df):
        scale, weight = np.ones(1), np.ones(1)
    else:
        scale, weight = log_scale_nodes(t, df)
    change, fourth = expansion(t * scale, R, loading, side)
    trusted = _EXPANSION_TRUSTED if R.shape[0] <= _FEW_CONTRASTS else _TRUSTED_WHEN_MANY
    if abs(float(weight @ fourth)) < trusted:
        return float(weight @ change)
    return lattice_difference(t, df, R, loading, side)
