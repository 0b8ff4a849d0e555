"""Kenward–Roger covariance, degrees of freedom and F test.

Source: Kenward & Roger (1997), Biometrics 53, 983-997, for V linear in θ (their R_ij = 0):

    Φ_A = Φ + 2Φ [Σ_ij W_ij (Q_ij − P_i Φ P_j)] Φ,
    P_i = −X'V⁻¹G_iV⁻¹X,   Q_ij = X'V⁻¹G_iV⁻¹G_jV⁻¹X,   W = (½ tr PG_iPG_j)⁻¹.

Convention: W is the inverse of the EXPECTED information over ALL components. A component
estimated as zero stays in it, as in pbkrtest (Halekoh & Højsgaard 2014), which is safer: it
costs degrees of freedom where a block variance was estimated as zero by chance.

For one numerator df the published formulas reduce exactly to the scale factor 1 and
df = 2f²/g'Wg, which has no 0/0 at 2 df nor a pole at 4.
"""

from __future__ import annotations

import numpy as np

from kit.analysis.moments import Array, FixedMoments, Moments
from kit.analysis.precision import FTest, Precision

NEAR_TWO = 1e-2  # pbkrtest 0.5.2 takes the scale factor as 1 this near to the 0/0 at 2 df


def kenward_roger(
    moments: Moments, fixed: FixedMoments, to_scaled: Array, scale: float
) -> Precision:
    """Precision by Kenward & Roger (1997) at the REML estimate."""
    weight = np.linalg.inv(0.5 * moments.trace_pp)
    weight = (weight + weight.T) / 2.0
    phi, first = fixed.phi, fixed.first
    inner = np.einsum("ij,ijpq->pq", weight, fixed.second)
    inner -= np.einsum("ij,ipr,rs,jsq->pq", weight, first, phi, first, optimize=True)
    adjusted = phi + 2.0 * phi @ inner @ phi
    return Precision(
        covariance=(adjusted + adjusted.T) / 2.0,
        unadjusted=phi,
        derivatives=first,
        weight=weight,
        to_scaled=to_scaled,
        scale=scale,
        wald=_scaled_f,
    )


def _scaled_f(precision: Precision, rows: Array, estimate: Array) -> FTest:
    """The scaled F of Kenward & Roger (1997), section 4; all in scaled coordinates."""
    q = len(rows)
    f = float(estimate @ np.linalg.solve(rows @ precision.covariance @ rows.T, estimate)) / q
    if q == 1:
        return FTest(1, float(precision.single_df(rows)[0]), f)
    theta = rows.T @ np.linalg.solve(rows @ precision.unadjusted @ rows.T, rows)
    half = theta @ precision.unadjusted
    terms = [half @ d @ precision.unadjusted for d in precision.derivatives]
    traces = np.array([np.trace(t) for t in terms])
    pairs = np.array([[np.sum(s * t.T) for t in terms] for s in terms])
    a1 = float(traces @ precision.weight @ traces)
    a2 = float(np.sum(precision.weight * pairs))
    den_df, factor = _matched_moments(q, a1, a2)
    return FTest(q, den_df, factor * f)


def _matched_moments(q: int, a1: float, a2: float) -> tuple[float, float]:
    """Denominator df m and scale λ from A1 and A2, free of the pole at 4 df.

    The published ρ is written out so that V₂ = 1 − c₃B, which vanishes at 4 df, stands in
    the numerator only; r = (1 − A2/q)/(1 − c₂B) is 0/0 at 2 df and is 1 there.
    """
    b = (a1 + 6.0 * a2) / (2.0 * q)
    g = ((q + 1) * a1 - (q + 4) * a2) / ((q + 2) * a2)
    denominator = 3.0 * q + 2.0 * (1.0 - g)
    c1, c2, c3 = g / denominator, (q - g) / denominator, (q + 2 - g) / denominator
    v0, v1, v2, e = 1.0 + c1 * b, 1.0 - c2 * b, 1.0 - c3 * b, 1.0 - a2 / q
    ratio = 1.0 if abs(v1) < 1e-10 and abs(e) < 1e-10 else (e / v1 if v1 else np.inf)
    m = 4.0 + (q + 2) * v2 / (ratio**2 * v0 - v2)
    factor = 1.0 if abs(m - 2.0) < NEAR_TWO else m * e / (m - 2.0)
    return float(m), float(factor)
