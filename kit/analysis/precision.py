"""Standard errors and degrees of freedom of linear functions of the fixed effects.

Both methods share the one-df formula of Satterthwaite (1946) as Giesbrecht & Burns (1985)
put it: with f = l'Φl and g_i = ∂f/∂θ_i = l'Φ(X'V⁻¹G_iV⁻¹X)Φl,

    df = 2 f² / g' W g,

W the asymptotic covariance of the variance estimates. They differ in W and in Φ; see
`kit.analysis.kenward_roger` and `kit.analysis.satterthwaite`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from kit.analysis.moments import Array


@dataclass(frozen=True)
class FTest:
    """An F statistic (scaled where the method scales it) and its degrees of freedom."""

    num_df: int
    den_df: float
    f: float


@dataclass(frozen=True)
class Precision:
    """Covariance of the fixed effects with what the degrees of freedom need.

    All in the scaled coordinates of `kit.analysis.moments.ScaledData`; ``to_scaled``
    (R⁻¹) and ``scale`` lead there from rows in the coefficients. ``covariance`` gives the
    standard errors (adjusted where the method adjusts), ``unadjusted`` is Φ,
    ``derivatives`` the X'V⁻¹G_iV⁻¹X that belong to ``weight`` (W).
    """

    covariance: Array
    unadjusted: Array
    derivatives: Array
    weight: Array
    to_scaled: Array
    scale: float
    wald: Callable[[Precision, Array, Array], FTest]

    def rows(self, rows: Array) -> Array:
        """Rows in the coefficients → rows in the scaled coordinates."""
        return np.atleast_2d(rows) @ self.to_scaled

    def covariance_of(self, rows: Array) -> Array:
        """Covariance matrix of the linear functions given by rows (m × p): m × m."""
        inner = self.rows(rows)
        return inner @ self.covariance @ inner.T * self.scale**2

    def standard_errors(self, rows: Array) -> Array:
        """Standard error of each linear function (m)."""
        inner = self.rows(rows)
        return self.scale * np.sqrt(np.einsum("mp,pq,mq->m", inner, self.covariance, inner))

    def degrees_of_freedom(self, rows: Array) -> Array:
        """Degrees of freedom of each linear function (m)."""
        return self.single_df(self.rows(rows))

    def single_df(self, inner: Array) -> Array:
        """The same for rows in the scaled coordinates."""
        projected = inner @ self.unadjusted
        f = np.einsum("mp,mp->m", projected, inner)
        g = np.einsum("mp,kpq,mq->mk", projected, self.derivatives, projected)
        return 2.0 * f**2 / np.einsum("mi,ij,mj->m", g, self.weight, g)

    def f_test(self, rows: Array, beta: Array) -> FTest:
        """Test that all linear functions rows @ beta (independent rows) are zero."""
        return self.wald(self, self.rows(rows), rows @ beta / self.scale)
