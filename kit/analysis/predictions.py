"""Predicted random effects and residuals of a fitted model.

Source: Henderson (1975), Biometrics 31, 423-447 (best linear unbiased prediction), with the
estimated variances taken as known.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.analysis.mixedmodel import MixedModelFit


def random_effects(fit: MixedModelFit) -> pd.DataFrame:
    """Predicted deviation of every session, block, …: ``component, level, estimate, se``.

    ``se`` is the standard error of prediction, √(σ²_k − σ⁴_k (Z_k'PZ_k)_jj); it does not
    include the uncertainty of the variances. A component of zero predicts zero throughout.
    """
    weighted = fit.model.weighted(fit.theta)
    parts = []
    for grouping, variance, (pull, spread) in zip(
        fit.random, fit.theta, weighted.by_level, strict=False
    ):
        left = np.maximum(variance - variance**2 * spread, 0.0)
        parts.append(
            pd.DataFrame(
                {
                    "component": grouping.name,
                    "level": list(grouping.levels),
                    "estimate": fit.data.scale * variance * pull + 0.0,  # no minus zero
                    "se": fit.data.scale * np.sqrt(left),
                }
            )
        )
    if not parts:
        return pd.DataFrame(columns=["component", "level", "estimate", "se"])
    return pd.concat(parts, ignore_index=True)


def residuals(fit: MixedModelFit) -> pd.DataFrame:
    """One row a shot, in the order of the table: ``fitted, residual, standardised``.

    ``fitted`` includes the predicted random effects; ``standardised`` is the residual over
    its own standard error (internally studentised; 0 where that is zero).
    """
    weighted = fit.model.weighted(fit.theta)
    own = fit.theta[len(fit.random) :]
    groups = (
        np.zeros(fit.n, dtype=int) if fit.residual_groups is None else fit.residual_groups.codes
    )
    residual = fit.data.scale * own[groups] * weighted.py
    error = np.sqrt(np.maximum(weighted.leverage, 0.0)) * own[groups] * fit.data.scale
    standardised = np.divide(residual, error, out=np.zeros(fit.n), where=error > 0)
    return pd.DataFrame(
        {"fitted": fit.y - residual, "residual": residual, "standardised": standardised}
    )
