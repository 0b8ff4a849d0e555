"""Averages over the estimated SD, by nodes that need no adaptive integration.

With s/σ = S, the root of a chi-square over its degrees of freedom, log S has an analytic,
fast-dying density, so the trapezoidal rule converges exponentially (Trefethen & Weideman 2014).
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from kit.analysis.chi_scale import log_scale_nodes

Floats = NDArray[np.float64]


@lru_cache(maxsize=512)
def scale_nodes(df: float) -> tuple[Floats, Floats]:
    """Values of S (m,) and their weights (m,), which add up to one; ``df`` may be infinite."""
    if math.isinf(df):
        return np.ones(1), np.ones(1)
    scale, weight = log_scale_nodes(0.0, df)
    return scale, weight / weight.sum()
