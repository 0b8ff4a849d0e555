"""What a covariance model must tell the REML machinery, and the scaled data it works on.

Model: y = Xβ + Σ_k Z_k u_k + e, with V = Σ_i θ_i G_i, where G_k = Z_k Z_k' for each random
column and, for the residual, the identity or one diagonal indicator for each level that
has a residual variance of its own. P = V⁻¹ − V⁻¹X(X'V⁻¹X)⁻¹X'V⁻¹.

Everything downstream (criterion, gradient, information, Kenward–Roger, Satterthwaite)
reads `Moments` and `FixedMoments` and does not care how they were computed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from kit.errors import ModelError

Array = NDArray[np.floating]
Mask = NDArray[np.bool_]


class SingularCovarianceError(ModelError):
    """V is singular where it has to be inverted; the optimiser never ends at such a θ."""

    def __init__(self) -> None:
        super().__init__("The covariance of the shots is singular here. Simplify the model.")


@dataclass(frozen=True)
class Moments:
    """Traces and quadratic forms at one θ (K entries, random columns first).

    trace_v, trace_vv: tr V⁻¹G_i and tr V⁻¹G_iV⁻¹G_j (for ML);
    trace_p, trace_pp: tr PG_i and tr PG_iPG_j (for REML);
    quad, quad_quad: y'PG_iPy and y'PG_iPG_jPy; rss: y'Py.
    """

    log_det_v: float
    log_det_xvx: float
    rss: float
    trace_v: Array
    trace_vv: Array
    trace_p: Array
    trace_pp: Array
    quad: Array
    quad_quad: Array


@dataclass(frozen=True)
class FixedMoments:
    """What the fixed effects need at the final θ.

    beta: p; phi = (X'V⁻¹X)⁻¹: p × p; first[i] = X'V⁻¹G_iV⁻¹X: K × p × p;
    second[i, j] = X'V⁻¹G_iV⁻¹G_jV⁻¹X: K × K × p × p.
    """

    beta: Array
    phi: Array
    first: Array
    second: Array


@dataclass(frozen=True)
class WeightedResiduals:
    """py: Py (n); leverage: diag P (n); for each random column, Z_k'Py and diag Z_k'PZ_k."""

    py: Array
    leverage: Array
    by_level: list[tuple[Array, Array]]


class CovarianceModel(Protocol):
    """One way to compute the moments: by cross-products, or from the n × n matrix."""

    n: int
    p: int
    n_random: int
    n_components: int
    x: Array
    y: Array

    def moments(self, theta: Array) -> Moments | None:
        """The moments at θ, or None where V is not positive definite."""
        ...

    def fixed_moments(self, theta: Array) -> FixedMoments:
        """The fixed-effects moments at a θ where V is positive definite."""
        ...

    def weighted(self, theta: Array) -> WeightedResiduals:
        """What predictions and residuals need, at a θ where V is positive definite."""
        ...


@dataclass(frozen=True)
class ScaledData:
    """The data on the scale on which rounding hurts least.

    X is replaced by the orthonormal Q of its QR factors and y by its least-squares
    residual divided by that residual's standard deviation, so that neither the unit of
    a covariate nor a large constant costs digits. ``restore`` leads back.
    """

    q: Array
    r: Array
    y: Array
    ols: Array
    scale: float

    @property
    def log_det_r(self) -> float:
        """log|det R|, the part of log|X'V⁻¹X| that Q leaves out (halved)."""
        return float(np.sum(np.log(np.abs(np.diag(self.r)))))


def scaled(x: Array, y: Array, intercept: bool) -> ScaledData:
    """Least squares by QR; x is n × p of full column rank with p < n.

    With an ``intercept`` (its column first) the mean of y is set aside before anything is
    summed and added to the first coefficient at the end.
    """
    q, r = np.linalg.qr(x)
    centre = float(y.mean()) if intercept else 0.0
    shifted = y - centre
    coordinates = q.T @ shifted
    residual = shifted - q @ coordinates
    residual -= q @ (q.T @ residual)
    scale = float(np.sqrt(residual @ residual / (len(y) - x.shape[1])))
    ols = np.linalg.solve(r, coordinates)
    ols[0] += centre
    return ScaledData(q, r, residual / scale if scale > 0 else residual, ols, scale)
