"""Profile-likelihood intervals for variance components.

Source: Venzon & Moolgavkar (1988), Applied Statistics 37, 87-94, on the REML criterion: a value
of one component is inside when the criterion, minimised over all others, lies within the χ²₁
quantile of its minimum. Where a component is small the χ²₁ reference is conservative (Self &
Liang 1987, JASA 82, 605-610): the interval then reaches zero a little too readily.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
from scipy import stats
from scipy.optimize import brentq

from kit.analysis.mixedmodel import MixedModelFit
from kit.analysis.moments import Array
from kit.analysis.reml import Objective, minimise, reml_objective
from kit.errors import ModelError

DOUBLINGS = 60


def variance_intervals(fit: MixedModelFit, level: float = 0.95) -> pd.DataFrame:
    """SD of every component with its profile interval.

    Columns ``component, sd, sd_lower, sd_upper`` (unit of the outcome); ``sd_upper`` is
    infinite where the shots set no upper limit.

    Raises
    ------
    ModelError
        When the level is not between 0 and 1.
    """
    if not 0.0 < level < 1.0:
        raise ModelError(f"The level of the intervals must lie between 0 and 1, not {level:g}.")
    reach = float(np.sqrt(stats.chi2.ppf(level, 1)))
    objective = reml_objective(fit.model)
    rows = []
    for i, name in enumerate(fit.variance_components.index):
        excess = _root_excess(objective, fit.theta, fit.optimum.criterion.value, i)
        best = float(np.sqrt(fit.theta[i]))
        lower, upper = _lower(excess, best, reach), _upper(excess, best, reach)
        rows.append((name, *(fit.data.scale * sd for sd in (best, lower, upper))))
    return pd.DataFrame(rows, columns=["component", "sd", "sd_lower", "sd_upper"])


def _root_excess(
    objective: Objective, theta: Array, minimum: float, i: int
) -> Callable[[float], float]:
    """√(profile criterion − minimum) as a function of the SD of component i.

    The square root makes it nearly linear, which the root finder likes; infinite where V
    is singular for every value of the others.
    """
    free = np.arange(len(theta)) != i
    last = np.array(theta)

    def excess(sd: float) -> float:
        nonlocal last
        start = np.where(free, last, sd**2)
        found = minimise(objective, start, free)
        if found is None:
            found = minimise(objective, np.where(free, last + 0.1, sd**2), free)
        if found is None:
            return np.inf
        last = found.theta
        return float(np.sqrt(max(found.criterion.value - minimum, 0.0)))

    return excess


def _lower(excess: Callable[[float], float], best: float, reach: float) -> float:
    if best == 0.0 or excess(0.0) <= reach:
        return 0.0
    inner, outer = best, best / 2.0
    for _ in range(DOUBLINGS):
        if excess(outer) > reach:
            return float(brentq(lambda sd: excess(sd) - reach, outer, inner, xtol=1e-12))
        inner, outer = outer, outer / 2.0
    return 0.0


def _upper(excess: Callable[[float], float], best: float, reach: float) -> float:
    inner, outer = best, max(2.0 * best, 0.2)
    for _ in range(DOUBLINGS):
        if excess(outer) > reach:
            return float(brentq(lambda sd: excess(sd) - reach, inner, outer, xtol=1e-12))
        inner, outer = outer, 2.0 * outer
    return float(np.inf)
