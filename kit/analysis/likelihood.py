"""Likelihoods of a fitted model for comparing models."""

from __future__ import annotations

import numpy as np

from kit.analysis.mixedmodel import MixedModelFit
from kit.analysis.reml import minimise_from_all, ml_objective, starting_points
from kit.errors import ModelError


def ml_log_likelihood(fit: MixedModelFit) -> float:
    """Maximised log-likelihood of the same model fitted by maximum likelihood.

    Unlike the REML criterion it may be compared between models with different fixed parts
    (fitted to the same shots); its variances are biased downwards and are not reported.

    Raises
    ------
    ModelError
        When no descent converged.
    """
    n, k = fit.n, len(fit.random)
    starts = [*starting_points(k, len(fit.theta) - k), np.array(fit.theta)]
    best, _ = minimise_from_all(ml_objective(fit.model), starts)
    if not best.converged:
        raise ModelError(
            "The maximum-likelihood fit did not converge: do not compare models by it. Simplify "
            "the model."
        )
    return float(-0.5 * (best.criterion.value + n * np.log(2 * np.pi)) - n * np.log(fit.data.scale))
