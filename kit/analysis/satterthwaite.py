"""Satterthwaite degrees of freedom and F test.

Source: Giesbrecht & Burns (1985), Biometrics 41, 477-486; for several numerator df Fai &
Cornelius (1996), J. Statist. Comput. Simul. 54, 363-378, as lmerTest does it (Kuznetsova,
Brockhoff & Christensen 2017).

Convention: W is the inverse of the OBSERVED information over the components that are not
zero; a component estimated as zero drops out, so that the df equal those of the model
without it. Standard errors are from Φ, unadjusted.
"""

from __future__ import annotations

import numpy as np

from kit.analysis.moments import Array, FixedMoments, Mask, Moments
from kit.analysis.precision import FTest, Precision

EQUAL_DF = 1e-8  # single df closer than this count as equal


def satterthwaite(
    moments: Moments,
    fixed: FixedMoments,
    positive: Mask,
    to_scaled: Array,
    scale: float,
) -> Precision:
    """Precision by Satterthwaite at the REML estimate; ``positive`` marks components > 0."""
    information = moments.quad_quad - 0.5 * moments.trace_pp
    weight = np.linalg.inv(information[np.ix_(positive, positive)])
    return Precision(
        covariance=fixed.phi,
        unadjusted=fixed.phi,
        derivatives=fixed.first[positive],
        weight=(weight + weight.T) / 2.0,
        to_scaled=to_scaled,
        scale=scale,
        wald=_pooled_f,
    )


def _pooled_f(precision: Precision, rows: Array, estimate: Array) -> FTest:
    """F from independent single-df parts along the eigenvectors of LΦL'."""
    q = len(rows)
    values, vectors = np.linalg.eigh(rows @ precision.covariance @ rows.T)
    parts = vectors.T @ rows
    f = float(np.mean((vectors.T @ estimate) ** 2 / values))
    single = precision.single_df(parts)
    return FTest(q, _pooled_df(single), f)


def _pooled_df(single: Array) -> float:
    """Denominator df whose F has the mean of the averaged squared t's."""
    if np.ptp(single) < EQUAL_DF * max(1.0, float(single[0])):
        return float(single[0])
    if np.any(single <= 2.0):
        return 2.0
    expected = float(np.sum(single / (single - 2.0)))
    return 2.0 * expected / (expected - len(single))
