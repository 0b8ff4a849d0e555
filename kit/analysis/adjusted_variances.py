"""Variances of methods from block-adjusted residuals: the arithmetic of consistency.

With e = H y the residuals of the mixed model with one common SD s₀ (method means and predicted
shifts of sessions and blocks taken away), h_m = Σ H_ii over the shots of method m and
A_ml = Σ H_ij² over the shots of m and l, v_m = Σe²/h_m. Blocks take a little of one method's
spread and give it to the others of the block; to first order in log s²,

    log(v/s₀²) = diag(1/h) A log(s²/s₀²),      Cov(log s²) = 2 A⁻¹ / δ,

the first being solved for s², the second the inverse REML information with block variances held.
δ = 2/(kurtosis − 1), one at most, corrects for shots that are not normal (Box & Andersen 1955,
J. R. Statist. Soc. B 17, 1–34), with the kurtosis about medians pooled over methods (Layard 1973,
J. Amer. Statist. Assoc. 68, 195–198).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from kit.errors import ModelError

Array = NDArray[np.floating]
Index = NDArray[np.integer]
_HARDLY_SEPARABLE = 0.05
"""Share of a difference in log SD that must survive the adjustment for blocks."""


@dataclass(frozen=True)
class AdjustedVariances:
    """Log variances of the methods and their precision; symbols as in the module's head."""

    counts: Array
    log_v: Array
    log_s2: Array
    h: Array
    A: Array
    A_inverse: Array
    delta: float

    @property
    def df(self) -> Array:
        """Degrees of freedom of each variance: δ / (A⁻¹)_mm; n − 1 without blocks if δ = 1."""
        return self.delta / np.diag(self.A_inverse)


def adjusted_variances(
    residuals: Array, H: Array, groups: Index, common_variance: float
) -> AdjustedVariances:
    """The variances from residuals (n), H (n × n) and the method number of each shot.

    Raises
    ------
    ModelError
        If blocks hide the spread: no difference between some methods survives in the residuals.
    """
    chosen = np.eye(int(groups.max()) + 1)[groups]
    h, A = np.diag(H) @ chosen, chosen.T @ H**2 @ chosen
    if np.linalg.eigvalsh(A / np.sqrt(np.outer(h, h))).min() < _HARDLY_SEPARABLE:
        raise ModelError(
            "Within these blocks the spread of one method cannot be told from that of another: "
            "what one shot of a block misses, the others seem to gain. Blocks differ far more "
            "than shots do, or hold too few shots. More methods or shots in a block would help."
        )
    # A method whose shots are equal but for rounding has no spread: log variance −∞.
    sums = residuals**2 @ chosen
    sums = np.where(sums > 1e-20 * sums.sum(), sums, 0.0)
    with np.errstate(divide="ignore"):
        log_v = np.log(sums / h)
    varied = np.isfinite(log_v)
    log_s0 = np.log(common_variance)
    log_s2 = np.full(len(h), -np.inf)
    inner = A[np.ix_(varied, varied)]
    log_s2[varied] = log_s0 + np.linalg.solve(inner, h[varied] * (log_v[varied] - log_s0))
    return AdjustedVariances(
        chosen.sum(axis=0), log_v, log_s2, h, A, np.linalg.inv(A), _correction(residuals, chosen)
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


def corrected_bartlett(found: AdjustedVariances) -> tuple[float, int, float]:
    """Bartlett's (1937) test times δ: statistic, df and p. Methods that never varied are left out.

    Raises
    ------
    ModelError
        If fewer than two methods varied.
    """
    varied = np.isfinite(found.log_v)
    k = int(varied.sum())
    if k < 2:
        raise ModelError("Fewer than two methods varied at all, so their spread cannot be tested.")
    own = np.diag(found.A)
    others = (found.A.sum(axis=1) - own) / max(len(own) - 1, 1)
    df = (found.h**2 / (own - others))[varied]
    log_v = found.log_v[varied]
    pooled = np.log(df @ np.exp(log_v) / df.sum())
    scale = 1 + ((1 / df).sum() - 1 / df.sum()) / (3 * (k - 1))
    statistic = float(found.delta * (df.sum() * pooled - df @ log_v) / scale)
    return statistic, k - 1, float(stats.chi2.sf(statistic, k - 1))


def variance_ratios(
    found: AdjustedVariances, a: Index, b: Index, level: float
) -> tuple[Array, Array, Array, Array]:
    """log s²_a − log s²_b, its limits at ``level``, and p of the F test, for each pair.

    2/df_a + 2/df_b is the variance of log v_a − log v_b; the root of its share of the variance of
    log s²_a − log s²_b is how much of the ratio survives in the residuals. A pair with a method
    that never varied is not judged: limits −∞ to ∞, p = 1.
    """
    with np.errstate(invalid="ignore"):  # two methods that never varied have no ratio
        log_ratio = found.log_s2[a] - found.log_s2[b]
    known = np.isfinite(log_ratio)
    covariance = found.A / np.outer(found.h, found.h)
    inverse = found.A_inverse
    variance_v = covariance[a, a] + covariance[b, b] - 2 * covariance[a, b]
    variance_s = inverse[a, a] + inverse[b, b] - 2 * inverse[a, b]
    survives = np.sqrt(variance_v / variance_s)
    df_a = found.delta / (covariance[a, a] - covariance[a, b])
    df_b = found.delta / (covariance[b, b] - covariance[a, b])
    seen = np.exp(survives * np.where(known, log_ratio, 0.0))
    p = 2 * np.minimum(stats.f.sf(seen, df_a, df_b), stats.f.cdf(seen, df_a, df_b))
    tail = (1 - level) / 2
    down = np.where(known, np.log(stats.f.isf(tail, df_a, df_b)) / survives, np.inf)
    up = np.where(known, np.log(stats.f.isf(tail, df_b, df_a)) / survives, np.inf)
    shift = np.where(known, log_ratio, 0.0)
    return log_ratio, shift - down, shift + up, np.where(known, np.minimum(p, 1.0), 1.0)
